// Package say makes the sentences that people read from texts of the catalogue
// and values, and keeps both, so that a sentence made deep inside in English can
// be said in another language by the page that shows it.
//
// A text is English and is its own key in the catalogue. It has places with
// names, which a translation may put in another order, and plurals:
//
//	say.T("Only {laps} timed {laps|lap|laps}: shares of laps say little.", n)
//
// A place {name^} shows its value with a large first letter. The values belong
// to the names in the order in which these first stand. A value may be a Text or
// an error that carries one (Error) and is then said in the same language. Texts
// may be joined with +; each part stays a text of its own.
package say

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Text is a sentence with its values. It is empty or made by T; printed, it is
// English. Inside it is the key and the values between marks that no value can
// hold, so that it can be compared, joined and stored like a string. Where it
// leaves the program it is said first: String or In.
type Text string

// Marks, all control characters of ASCII: where a message begins and ends, and
// what stands between its key and values.
const (
	begin = '\x0e' // shift out
	next  = '\x1f' // unit separator
	end   = '\x0f' // shift in
)

// Language puts texts of the catalogue into a language.
type Language interface {
	// Find gives the text of a key; the key itself where there is none.
	Find(key string) string
	// Form is the plural form of a number: 0 for the first in {n|one|more}.
	Form(n float64) int
}

// English finds every text as it is.
type English struct{}

func (English) Find(key string) string { return key }

func (English) Form(n float64) int {
	if n == 1 {
		return 0
	}
	return 1
}

// T makes a sentence of a text of the catalogue. Its key must be a literal: a
// test gathers the catalogue from the calls. It panics where values and places
// do not match in number, which is a programmer's mistake.
func T(key string, values ...any) Text {
	if n := len(Places(key)); n != len(values) {
		panic(fmt.Sprintf("say: %q has %d places, %d values are given", key, n, len(values)))
	}
	var b strings.Builder
	b.WriteByte(begin)
	b.WriteString(key)
	for _, v := range values {
		b.WriteByte(next)
		switch v := v.(type) {
		case Text:
			b.WriteString(string(v))
		case Speaker:
			b.WriteString(string(v.Said()))
		case []byte:
			b.WriteString(bare(string(v)))
		case error:
			b.WriteString(string(Of(v)))
		default:
			b.WriteString(bare(fmt.Sprint(v)))
		}
	}
	b.WriteByte(end)
	return Text(b.String())
}

// Key makes a sentence of a text without places that comes out of a list of
// words, which gives its texts to the catalogue by itself.
func Key(key string) Text {
	if key == "" {
		return ""
	}
	return Text(string(begin) + bare(key) + string(end))
}

// Plain makes a text of what is the same in every language: a name, a number, a
// person's own words.
func Plain(s string) Text { return Text(bare(s)) }

// Join puts texts after one another with a separator between them.
func Join(list []Text, between Text) Text {
	var b strings.Builder
	for i, t := range list {
		if i > 0 {
			b.WriteString(string(between))
		}
		b.WriteString(string(t))
	}
	return Text(b.String())
}

// bare takes the marks out of a value.
func bare(s string) string {
	if strings.IndexFunc(s, isMark) < 0 {
		return s
	}
	return strings.Map(func(r rune) rune {
		if isMark(r) {
			return -1
		}
		return r
	}, s)
}

func isMark(r rune) bool { return r == begin || r == next || r == end }

// String is the English sentence.
func (t Text) String() string { return t.In(English{}) }

// Strings are the English sentences of a list.
func Strings(list []Text) []string {
	var out []string
	for _, t := range list {
		out = append(out, t.String())
	}
	return out
}

// MarshalText makes JSON and the like of it: the English sentence. To keep a
// text with its values it is stored as the string that it is.
func (t Text) MarshalText() ([]byte, error) { return []byte(t.String()), nil }

// UnmarshalText takes a sentence that was said; its values are not known any more.
func (t *Text) UnmarshalText(b []byte) error {
	*t = Plain(string(b))
	return nil
}

// In is the sentence in a language.
func (t Text) In(l Language) string {
	if strings.IndexByte(string(t), begin) < 0 {
		return bare(string(t))
	}
	p := parser{s: string(t), l: l}
	out := p.run()
	for p.at < len(p.s) { // a mark without its message: from a damaged book
		p.at++
		out += p.run()
	}
	return bare(out)
}

// Marked tells whether a string holds a text of the catalogue.
func Marked(s string) bool { return strings.IndexByte(s, begin) >= 0 }

// Replace puts something in the place of every text of the catalogue that
// stands in a page.
func Replace(page []byte, f func(text string) string) []byte {
	at := bytes.IndexByte(page, begin)
	if at < 0 {
		return page
	}
	out := make([]byte, 0, len(page)+len(page)/16)
	for at >= 0 {
		out = append(out, page[:at]...)
		depth, to := 0, at
	scan:
		for to < len(page) {
			switch page[to] {
			case begin:
				depth++
			case end:
				depth--
			}
			to++
			if depth == 0 {
				break scan
			}
		}
		out = append(out, f(string(page[at:to]))...)
		page = page[to:]
		at = bytes.IndexByte(page, begin)
	}
	return append(out, page...)
}

type parser struct {
	s  string
	at int
	l  Language
}

// run reads messages and what stands between them until a mark that belongs to
// the message around it.
func (p *parser) run() string {
	var b strings.Builder
	for p.at < len(p.s) {
		switch c := p.s[p.at]; c {
		case begin:
			b.WriteString(p.message())
		case next, end:
			return b.String()
		default:
			b.WriteByte(c)
			p.at++
		}
	}
	return b.String()
}

func (p *parser) message() string {
	p.at++ // begin
	from := p.at
	for p.at < len(p.s) && p.s[p.at] != next && p.s[p.at] != end {
		p.at++
	}
	key := p.s[from:p.at]
	var values []string
	for p.at < len(p.s) && p.s[p.at] == next {
		p.at++
		values = append(values, p.run())
	}
	if p.at < len(p.s) {
		p.at++ // end
	}
	return fill(p.l.Find(key), Places(key), values, p.l)
}

// place is one {name} or {name|one|more} of a text.
type place struct {
	from, to int // bytes, braces included
	name     string
	capital  bool     // {name^}: its first letter large, as at the beginning of a sentence
	forms    []string // of a plural
}

func places(s string) []place {
	var out []place
	for at := 0; ; {
		i := strings.IndexByte(s[at:], '{')
		if i < 0 {
			return out
		}
		i += at
		n := strings.IndexByte(s[i:], '}')
		if n < 0 {
			return out
		}
		part := strings.Split(s[i+1:i+n], "|")
		if name, capital := strings.CutSuffix(part[0], "^"); isName(name) {
			out = append(out, place{i, i + n + 1, name, capital, part[1:]})
		}
		at = i + n + 1
	}
}

func isName(s string) bool {
	for _, r := range s {
		if !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '_') {
			return false
		}
	}
	return s != ""
}

// Places lists the names of a text's places, each once, in the order in which
// they first stand.
func Places(text string) []string {
	var out []string
next:
	for _, p := range places(text) {
		for _, n := range out {
			if n == p.name {
				continue next
			}
		}
		out = append(out, p.name)
	}
	return out
}

// fill puts values into the places of a text.
func fill(text string, names, values []string, l Language) string {
	list := places(text)
	if len(list) == 0 {
		return text
	}
	var b strings.Builder
	at := 0
	for _, p := range list {
		b.WriteString(text[at:p.from])
		at = p.to
		v := text[p.from:p.to]
		for i, n := range names {
			if n == p.name && i < len(values) {
				v = values[i]
			}
		}
		if len(p.forms) > 0 {
			x, err := strconv.ParseFloat(strings.Replace(v, "−", "-", 1), 64)
			if err != nil {
				x = math.Inf(1)
			}
			v = p.forms[min(max(l.Form(x), 0), len(p.forms)-1)]
		}
		if p.capital {
			r, n := utf8.DecodeRuneInString(v)
			if n == 0 {
				continue
			}
			v = string(unicode.ToUpper(r)) + v[n:]
		}
		b.WriteString(v)
	}
	b.WriteString(text[at:])
	return b.String()
}
