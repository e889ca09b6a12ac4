// Package words is the catalogue of what the pages say. English stands in the
// templates, where it can be read; every text there is also a line of texts.txt,
// which a test keeps complete, and a translation is a file beside it.
//
// A text is what stands between two tags, or in an attribute that is read out,
// with {1}, {2} for the values in it; a translation may put these in another
// order. Templates are translated before they are parsed, so that a translated
// page costs no more than an English one and is escaped by the same rules.
package words

import (
	"bufio"
	"embed"
	"fmt"
	"math"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"unicode"

	"cornerwright/internal/say"
)

//go:embed *.txt
var files embed.FS

// Catalogue maps English texts to those of a language. The nil catalogue is
// English.
type Catalogue map[string]string

// Find is the text in the language; one that the catalogue does not have stays
// English.
func (c Catalogue) Find(text string) string {
	if t, ok := c[text]; ok {
		return t
	}
	return text
}

// plural is the line of a translation that names how its language counts.
const plural = "@plural"

// plurals by their names: the form of a number in {n|...}. After the plural
// rules of CLDR, for whole numbers.
var plurals = map[string]func(n int) int{
	"one-more": func(n int) int { // English, German, Dutch, Italian, Spanish
		if n == 1 {
			return 0
		}
		return 1
	},
	"few-more": func(n int) int { // French, Portuguese: none counts as one
		if n == 0 || n == 1 {
			return 0
		}
		return 1
	},
	"one-few-many": func(n int) int { // Czech, Polish
		switch {
		case n == 1:
			return 0
		case n%10 >= 2 && n%10 <= 4 && (n%100 < 12 || n%100 > 14):
			return 1
		}
		return 2
	},
	"same": func(int) int { return 0 }, // Japanese, Chinese, Thai
}

// Form is the plural form of a number in the language.
func (c Catalogue) Form(n float64) int {
	f := plurals[c[plural]]
	if f == nil {
		f = plurals["one-more"]
	}
	if n != math.Trunc(n) || math.Abs(n) > 1e9 {
		n = 1e9 // a number with decimals, or none, is many
	}
	return f(int(math.Abs(n)))
}

// Say is the text in the language, with args put in for its places in order. A
// text that the catalogue does not have stays English.
func (c Catalogue) Say(text string, args ...any) string {
	if len(args) == 0 {
		return c.Find(text)
	}
	return say.T(text, args...).In(c)
}

var slot = regexp.MustCompile(`\{\d+\}`)

// Texts lists the catalogue: every English text of pages and scripts, sorted.
func Texts() []string {
	data, err := files.ReadFile("texts.txt")
	if err != nil {
		return nil
	}
	var out []string
	for _, l := range strings.Split(string(data), "\n") {
		if l != "" {
			out = append(out, l)
		}
	}
	return out
}

// Languages lists the languages that have a file, English first.
func Languages() []string {
	out := []string{"en"}
	list, err := files.ReadDir(".")
	if err != nil {
		return out
	}
	for _, f := range list {
		if name, ok := strings.CutSuffix(f.Name(), ".txt"); ok && name != "texts" {
			out = append(out, name)
		}
	}
	return out
}

// Load reads a language's catalogue; nil for English.
func Load(language string) (Catalogue, error) {
	if language == "en" || language == "" {
		return nil, nil
	}
	data, err := files.ReadFile(language + ".txt")
	if err != nil {
		return nil, fmt.Errorf("there is no translation %q", language)
	}
	return Parse(language+".txt", string(data))
}

// Parse reads a translation: an English text on a line of its own, its
// translation on the next one after a tab; empty lines and lines that begin with
// # are left out. Every {n} of the English text must stand in the translation.
func Parse(name, text string) (Catalogue, error) {
	out := Catalogue{}
	english, at := "", 0
	sc := bufio.NewScanner(strings.NewReader(text))
	for line := 1; sc.Scan(); line++ {
		l := sc.Text()
		switch {
		case strings.TrimSpace(l) == "" || strings.HasPrefix(l, "#"):
		case strings.HasPrefix(l, "\t"):
			if english == "" {
				return nil, fmt.Errorf("%s:%d: a translation without its English text: put that on the line before", name, line)
			}
			t := strings.TrimSpace(l)
			if english == plural && plurals[t] == nil {
				return nil, fmt.Errorf("%s:%d: there is no way to count %q: take one-more, few-more, one-few-many or same", name, line, t)
			}
			if a, b := slots(english), slots(t); a != b {
				return nil, fmt.Errorf("%s:%d: the translation holds %s, the English text on line %d %s: keep every value", name, line, b, at, a)
			}
			out[english], english = t, ""
		default:
			if english != "" {
				return nil, fmt.Errorf("%s:%d: the text on line %d has no translation: put it on a line that begins with a tab", name, line, at)
			}
			english, at = strings.TrimSpace(l), line
		}
	}
	if english != "" {
		return nil, fmt.Errorf("%s:%d: the text has no translation: put it on a line that begins with a tab", name, at)
	}
	return out, sc.Err()
}

func slots(s string) string {
	l := say.Places(s)
	sort.Strings(l)
	for i := range l {
		l[i] = "{" + l[i] + "}"
	}
	return "[" + strings.Join(l, " ") + "]"
}

// Messages lists the texts of a template's source, in order, some twice.
func Messages(source string) []string {
	var out []string
	walk(source, func(m string) string {
		out = append(out, m)
		return m
	})
	return out
}

// Translate puts a template's source into the language.
func (c Catalogue) Translate(source string) string {
	if len(c) == 0 {
		return source
	}
	return walk(source, func(m string) string { return c.Say(m) })
}

// Attributes that people read or hear.
var read = regexp.MustCompile(`\s(aria-label|placeholder|title|data-label)="$`)

// walk copies a template's source with every text put through say.
func walk(src string, say func(string) string) string {
	var out, seg strings.Builder
	flush := func() {
		out.WriteString(segment(seg.String(), say))
		seg.Reset()
	}
	silent := "" // inside an element whose text is not for people
	for i := 0; i < len(src); {
		switch {
		case strings.HasPrefix(src[i:], "{{"):
			n := action(src[i:])
			if a := src[i : i+n]; control(a) || silent != "" {
				flush()
				out.WriteString(a)
			} else {
				seg.WriteString(a)
			}
			i += n
		case src[i] == '<':
			flush()
			n, name := tag(src[i:], &out, say)
			switch {
			case name == "script" || name == "style" || name == "code":
				silent = name
			case name == "/"+silent:
				silent = ""
			}
			i += n
		default:
			if silent != "" {
				out.WriteByte(src[i])
			} else {
				seg.WriteByte(src[i])
			}
			i++
		}
	}
	flush()
	return out.String()
}

// tag copies one tag, its spoken attributes put through say, and returns its
// length and name.
func tag(s string, out *strings.Builder, say func(string) string) (n int, name string) {
	var value strings.Builder
	quoted, spoken := false, false
	for n < len(s) {
		if strings.HasPrefix(s[n:], "{{") {
			k := action(s[n:])
			a := s[n : n+k]
			switch {
			case spoken && control(a):
				out.WriteString(segment(value.String(), say))
				value.Reset()
				out.WriteString(a)
			case spoken:
				value.WriteString(a)
			default:
				out.WriteString(a)
			}
			n += k
			continue
		}
		c := s[n]
		n++
		switch {
		case c == '"' && quoted:
			if spoken {
				out.WriteString(segment(value.String(), say))
				value.Reset()
			}
			quoted, spoken = false, false
			out.WriteByte(c)
		case c == '"':
			out.WriteByte(c)
			quoted, spoken = true, read.MatchString(tail(s[:n], 24))
		case spoken:
			value.WriteByte(c)
		default:
			out.WriteByte(c)
			if c == '>' && !quoted {
				return n, tagName(s)
			}
		}
	}
	return n, tagName(s)
}

func tail(s string, n int) string { return s[max(0, len(s)-n):] }

func tagName(s string) string {
	end := strings.IndexAny(s[1:], " >{\n")
	if end < 0 {
		return ""
	}
	return s[1 : 1+end]
}

// action is the length of the template action that s begins with.
func action(s string) int {
	var quote byte
	for i := 2; i < len(s); i++ {
		switch {
		case quote != 0:
			if s[i] == '\\' && quote == '"' {
				i++
			} else if s[i] == quote {
				quote = 0
			}
		case s[i] == '"' || s[i] == '`':
			quote = s[i]
		case strings.HasPrefix(s[i:], "}}"):
			return i + 2
		}
	}
	return len(s)
}

var controls = regexp.MustCompile(`^\{\{-?\s*(if|else|range|end|with|template|define|block|break|continue|/\*|\$\w+\s*:?=)`)

// control tells whether an action shows nothing itself.
func control(a string) bool { return controls.MatchString(a) }

// segment puts the text of a stretch of literals and values through say.
func segment(s string, say func(string) string) string {
	var text strings.Builder
	var values []string
	letters := false
	for i := 0; i < len(s); {
		if strings.HasPrefix(s[i:], "{{") {
			n := action(s[i:])
			values = append(values, s[i:i+n])
			fmt.Fprintf(&text, "{%d}", len(values))
			i += n
			continue
		}
		for _, r := range s[i:] {
			letters = letters || unicode.IsLetter(r)
			text.WriteRune(r)
			i += len(string(r))
			break
		}
	}
	if !letters || entity.MatchString(strings.TrimSpace(text.String())) {
		return s
	}
	whole := text.String()
	core := strings.Trim(whole, " \n\t·,()")
	at := strings.Index(whole, core)
	said := say(strings.Join(strings.Fields(core), " "))
	if said == core {
		return s
	}
	said = whole[:at] + said + whole[at+len(core):]
	return slot.ReplaceAllStringFunc(said, func(m string) string {
		n, err := strconv.Atoi(m[1 : len(m)-1])
		if err != nil || n < 1 || n > len(values) {
			return m
		}
		return values[n-1]
	})
}

// entity is a text that is one character written by its name.
var entity = regexp.MustCompile(`^&\w+;$`)

// InScript lists the texts of a script: the first arguments of t("...").
func InScript(source string) []string {
	var out []string
	for _, m := range inScript.FindAllStringSubmatch(source, -1) {
		if s, err := strconv.Unquote(m[1]); err == nil {
			out = append(out, s)
		}
	}
	return out
}

var inScript = regexp.MustCompile(`\bt\(("(?:[^"\\]|\\.)*")\)`)
