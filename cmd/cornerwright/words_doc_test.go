package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"cornerwright/internal/book"
	"cornerwright/internal/debrief"
	"cornerwright/internal/recording"
)

// notFiles are texts in the sources that look like the name of a file and are
// the name of a field.
var notFiles = regexp.MustCompile(`^(vcs|tyre|drive|recording|cornerwright)\.|^\.(rest|points)$`)

// fileName is a text that is the name of a file or an ending of one.
var fileName = regexp.MustCompile(`^[A-Za-z0-9_*-]*(\.[a-z][a-z0-9]{1,11})$`)

// typedWords are the constants of these types, and those whose name begins with
// Guard: what the answers call things by.
var typedWords = map[string]string{
	"circuit.Phase": "Phases, laps, states", "circuit.LapKind": "Phases, laps, states", "debrief.Stance": "Phases, laps, states", "debrief.Kind": "Phases, laps, states", "verdict.Answer": "Phases, laps, states",
	"ride.Kind": "Episodes", "recording.MarkKind": "Health marks",
}

// The page of words is whole: every command, option, channel, complaint, file
// suffix, title and colour that the program has stands there with where it is
// from, and nothing stands there that it has not.
func TestWordsOfTheDocs(t *testing.T) {
	root := filepath.Join("..", "..")
	has := sourceWords(t, root)
	add := func(section, word string) { has[section] = append(has[section], word) }
	var help strings.Builder
	a := &app{stdout: &help, getenv: func(string) string { return "" }}
	for _, c := range commands {
		add("Commands", c.name)
		a.commandHelp(&help, c)
		for _, f := range a.flagsOf(c) {
			add("Options", "--"+f.Name)
		}
	}
	for _, c := range debrief.Vocabulary() {
		add("Complaints", string(c))
	}
	add("Channels", "time")
	for _, d := range recording.Catalogue() {
		add("Channels", d.Name)
	}
	for _, m := range book.Measures() {
		add("Measures", m.Name)
	}
	for _, m := range book.SeasonMeasures() {
		add("Measures", m)
	}
	pageWords(t, filepath.Join(root, "internal", "web"), add)

	page, err := os.ReadFile(filepath.Join(root, "docs", "words.md"))
	if err != nil {
		t.Fatal(err)
	}
	stands := map[string][]string{}
	section := ""
	row := regexp.MustCompile("^\\| `((?:[^`\\\\]|\\\\.)+)` \\| ([^|]+) \\| ([^|]+) \\|$")
	kinds := regexp.MustCompile(`^(trade|ours|standard: .+)( \(.+\)|; .+)*$`)
	for n, l := range strings.Split(string(page), "\n") {
		if s, ok := strings.CutPrefix(l, "## "); ok {
			section = s
		}
		if !strings.HasPrefix(l, "| `") {
			continue
		}
		m := row.FindStringSubmatch(l)
		if m == nil {
			t.Errorf("docs/words.md:%d: a row is | `word` | what it is | where from |: %s", n+1, l)
			continue
		}
		word := strings.ReplaceAll(m[1], `\|`, "|")
		if slices.Contains(stands[section], word) {
			t.Errorf("docs/words.md:%d: %q stands twice under %s", n+1, word, section)
		}
		stands[section] = append(stands[section], word)
		if !kinds.MatchString(m[3]) {
			t.Errorf("docs/words.md:%d: %q is neither trade, nor ours, nor a standard that is named", n+1, m[3])
		}
	}
	for section, words := range has {
		if len(words) == 0 {
			t.Errorf("%s: no word was found in the program", section)
		}
		for _, w := range words {
			if !slices.Contains(stands[section], w) {
				t.Errorf("docs/words.md lacks %q under %s", w, section)
			}
		}
	}
	for section, words := range stands {
		for _, w := range words {
			if !slices.Contains(has[section], w) && !(section == "File suffixes" && strings.Contains(help.String(), w)) { // named in the help of an option
				t.Errorf("docs/words.md has %q under %s, the program has not", w, section)
			}
		}
	}
}

// sourceWords are the constants and names of files in the sources.
func sourceWords(t *testing.T, root string) map[string][]string {
	t.Helper()
	has := map[string][]string{}
	for _, top := range []string{"cmd", "internal"} {
		err := filepath.WalkDir(filepath.Join(root, top), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() && d.Name() == "testdata" {
				return errOrSkip(err)
			}
			if d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return nil
			}
			f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
			if err != nil {
				return err
			}
			ast.Inspect(f, func(n ast.Node) bool {
				switch n := n.(type) {
				case *ast.BasicLit:
					if s, err := strconv.Unquote(n.Value); n.Kind == token.STRING && err == nil {
						if m := fileName.FindStringSubmatch(s); m != nil && !notFiles.MatchString(s) {
							has["File suffixes"] = append(has["File suffixes"], m[1])
						}
					}
				case *ast.GenDecl:
					if n.Tok == token.CONST {
						constWords(f.Name.Name, n, has)
					}
				case *ast.CompositeLit:
					if id, ok := n.Type.(*ast.Ident); ok && id.Name == "page" && f.Name.Name == "web" {
						if title := fieldText(n, "Title"); title != "" {
							has["Page titles"] = append(has["Page titles"], title)
						}
					}
				}
				return true
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return has
}

func errOrSkip(err error) error {
	if err != nil {
		return err
	}
	return filepath.SkipDir
}

func constWords(pkg string, d *ast.GenDecl, has map[string][]string) {
	for _, s := range d.Specs {
		v, ok := s.(*ast.ValueSpec)
		if !ok || len(v.Values) != 1 {
			continue
		}
		lit, ok := v.Values[0].(*ast.BasicLit)
		if !ok {
			continue
		}
		text, err := strconv.Unquote(lit.Value)
		if err != nil || text == "" {
			continue
		}
		section := ""
		if id, ok := v.Type.(*ast.Ident); ok {
			section = typedWords[pkg+"."+id.Name]
		}
		if pkg == "setting" && strings.HasPrefix(v.Names[0].Name, "Guard") {
			section = "Guards"
		}
		if section != "" {
			has[section] = append(has[section], text)
		}
	}
}

func fieldText(n *ast.CompositeLit, field string) string {
	for _, e := range n.Elts {
		kv, ok := e.(*ast.KeyValueExpr)
		if !ok {
			continue
		}
		id, ok := kv.Key.(*ast.Ident)
		value := kv.Value
		if c, said := value.(*ast.CallExpr); said && len(c.Args) > 0 { // say.T and its text
			value = c.Args[0]
		}
		lit, isText := value.(*ast.BasicLit)
		if ok && isText && id.Name == field {
			s, _ := strconv.Unquote(lit.Value)
			return s
		}
	}
	return ""
}

var (
	marked   = regexp.MustCompile(`<(?:h2|h3|legend|summary|caption|th|label|button)\b[^>]*>([^<]*)`)
	action   = regexp.MustCompile(`\{\{.*?\}\}`)
	blanks   = regexp.MustCompile(`\s+`)
	letter   = regexp.MustCompile(`[A-Za-z]`)
	variable = regexp.MustCompile(`--[a-z-]+:`)
)

// pageWords are what the templates put in front of a person, and the colours.
func pageWords(t *testing.T, web string, add func(section, word string)) {
	t.Helper()
	pages, err := filepath.Glob(filepath.Join(web, "pages", "*.html"))
	if err != nil || len(pages) == 0 {
		t.Fatal("no pages", err)
	}
	for _, p := range pages {
		text, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range marked.FindAllStringSubmatch(string(text), -1) {
			w := strings.TrimSpace(blanks.ReplaceAllString(action.ReplaceAllString(m[1], "…"), " "))
			if letter.MatchString(w) {
				add("Headings, columns, fields and buttons of the pages", w)
			}
		}
	}
	css, err := os.ReadFile(filepath.Join(web, "assets", "page.css"))
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range variable.FindAllString(string(css), -1) {
		add("Colours", strings.TrimSuffix(v, ":"))
	}
}
