package web

import (
	"flag"
	"io"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"sort"
	"strings"
	"testing"

	"cornerwright/internal/words"
)

var update = flag.Bool("update", false, "write the catalogue of texts anew")

// spokenTexts are all texts of templates, scripts and page titles.
func spokenTexts(t *testing.T) []string {
	t.Helper()
	all := map[string]bool{}
	read := func(dir, ending string, texts func(string) []string) {
		list, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range list {
			if !strings.HasSuffix(f.Name(), ending) || strings.HasSuffix(f.Name(), "_test.go") {
				continue
			}
			src, err := os.ReadFile(dir + "/" + f.Name())
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range texts(string(src)) {
				all[m] = true
			}
		}
	}
	title := regexp.MustCompile(`page\{Title: "([^"]*)"`)
	read("pages", ".html", words.Messages)
	read("assets", ".js", words.InScript)
	read(".", ".go", func(s string) []string {
		var out []string
		for _, m := range title.FindAllStringSubmatch(s, -1) {
			out = append(out, m[1])
		}
		return out
	})
	for _, c := range traceChannels {
		if !c.Hidden {
			all[c.Name] = true
		}
	}
	for _, w := range sentences(t) {
		all[w] = true
	}
	for _, w := range listed() {
		all[w] = true
	}
	var out []string
	for m := range all {
		out = append(out, m)
	}
	sort.Strings(out)
	return out
}

// The catalogue holds what the pages say, all of it and nothing else. After a
// change of texts: go test ./internal/web -run TestCatalogueIsWhole -update
func TestCatalogueIsWhole(t *testing.T) {
	want := spokenTexts(t)
	if *update {
		if err := os.WriteFile("../words/texts.txt", []byte(strings.Join(want, "\n")+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	have := map[string]bool{}
	for _, m := range words.Texts() {
		have[m] = true
	}
	for _, m := range want {
		if !have[m] {
			t.Errorf("a page says %q, the catalogue does not have it", m)
		}
		delete(have, m)
	}
	for m := range have {
		t.Errorf("the catalogue has %q, no page says it", m)
	}
}

// Every translation in the program holds texts that the pages say.
func TestTranslationsAreOfOurTexts(t *testing.T) {
	have := map[string]bool{}
	for _, m := range words.Texts() {
		have[m] = true
	}
	for _, l := range words.Languages() {
		c, err := words.Load(l)
		if err != nil {
			t.Errorf("%s: %v", l, err)
		}
		for m := range c {
			if !have[m] {
				t.Errorf("%s translates %q, no page says it", l, m)
			}
		}
	}
}

// With every text marked, the templates still parse, values keep their places,
// and what is said through the catalogue shows.
func TestEveryTemplateCanBeTranslated(t *testing.T) {
	c := words.Catalogue{}
	for _, m := range words.Texts() {
		c[m] = "⟦" + m + "⟧"
	}
	s, err := newSet(You{Decimal: "1.5", Dates: "2026-05-14", Lang: "xx"}, c)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := s.pages.ExecuteTemplate(&b, "failure", page{Title: "x", Role: Crew, You: You{Lang: "xx"}, Words: s.script, Body: failure{Text: "so", Mend: "thus"}}); err != nil {
		t.Fatal(err)
	}
	for _, w := range []string{"⟦The day⟧", "⟦Season⟧", "⟦What to do: thus⟧", `<html lang="xx"`, "⟦At the cursor: ⟧"} {
		if !strings.Contains(b.String(), w) {
			t.Errorf("the page does not say %s: %.900s", w, b.String())
		}
	}
	if s.script["lap"] == "" {
		t.Error("scripts get no texts")
	}
}

// A person's numbers, dates and units, by the cookies that the form sets.
func TestNumbersAsThePersonWritesThem(t *testing.T) {
	s := open(t)
	see := func(path string, cookies map[string]string) string {
		r, _ := http.NewRequest("GET", s.URL+path, nil)
		for k, v := range cookies {
			r.AddCookie(&http.Cookie{Name: "cw_" + k, Value: url.QueryEscape(v)})
		}
		a, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer a.Body.Close()
		var b strings.Builder
		if _, err := io.Copy(&b, a.Body); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	lapTime := regexp.MustCompile(`1:3\d([.,])\d{3}`)
	for decimal, want := range map[string]string{"1.5": ".", "1,5": ","} {
		found := lapTime.FindAllStringSubmatch(see("/run/1", map[string]string{"decimal": decimal}), -1)
		if len(found) < 10 {
			t.Fatalf("%s: %d lap times", decimal, len(found))
		}
		for _, m := range found {
			if m[1] != want {
				t.Errorf("numbers as %s: %s", decimal, m[0])
				break
			}
		}
	}
	for dates, want := range map[string]string{"2026-05-14": "2026-02-03", "14 May 2026": "3 Feb 2026", "14/05/2026": "03/02/2026", "05/14/2026": "02/03/2026"} {
		if got := (You{Dates: dates}).day("2026-02-03"); got != want {
			t.Errorf("a date as %s: %s, want %s", dates, got, want)
		}
	}
	if got := (You{Dates: "14/05/2026"}).day("undated"); got != "undated" {
		t.Errorf("what is no date: %s", got)
	}
	if b := see("/run/1", map[string]string{"speed": "mph"}); !strings.Contains(b, "least mph") {
		t.Error("speeds are not in mph")
	}
	if b := see("/run/1", map[string]string{"decimal": "<script>", "dates": "yesterday", "lang": "../../x"}); !strings.Contains(b, `<html lang="en"`) {
		t.Error("a choice that is none must be the usual one")
	}
	// Exact by definition: mile 1609.344 m, psi from pound, inch and standard
	// gravity, lbf·ft likewise (NIST SP 811, appendix B).
	for _, c := range []struct {
		y    You
		v    float64
		unit string
		want string
	}{
		{You{Speed: "mph"}, 160.9344, "kmh", "100.0"},
		{You{Speed: "mph", Decimal: "1,5"}, 160.9344, "kmh", "100,0"},
		{You{Pressure: "psi"}, 1, "bar", "15"}, // 14.5038
		{You{Temp: "°F"}, 100, "c", "212.0"},
		{You{Torque: "lbf·ft"}, 100, "nm", "73.76"}, // 73.7562
		{You{}, -0.04, "kmh", "0.0"},
	} {
		if got := c.y.V(c.v, c.unit); got != c.want {
			t.Errorf("%v %s for %+v: %s, want %s", c.v, c.unit, c.y, got, c.want)
		}
	}
}
