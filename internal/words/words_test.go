package words

import (
	"slices"
	"strings"
	"testing"
)

func TestMessages(t *testing.T) {
	for _, c := range []struct {
		src  string
		want []string
	}{
		{`<p>plain</p>`, []string{"plain"}},
		{`<p>turn {{.N}} of {{num .M 2}} m</p>`, []string{"turn {1} of {2} m"}},
		{`<p>a {{if .X}}b{{else}}c{{end}} d</p>`, []string{"a", "b", "c", "d"}},
		{`<input placeholder="say {{.X}}" value="not read" aria-label="a field">`, []string{"say {1}", "a field"}},
		{`<td>{{num .X 2}} · 12</td><code>serve --share</code>`, nil},
		{`{{with "}}"}}x{{end}}`, []string{"x"}},
		{"<p>two\n lines</p>", []string{"two lines"}},
	} {
		if got := Messages(c.src); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", c.src, got, c.want)
		}
	}
}

func TestTranslateKeepsValuesAndMayReorder(t *testing.T) {
	c, err := Parse("xx.txt", "turn {1} lap {2}\n\tRunde {2}, Kurve {1}\na field\n\tein Feld\n")
	if err != nil {
		t.Fatal(err)
	}
	got := c.Translate(`<p class="x">turn {{.T}} lap {{num .L 1}}</p><i aria-label="a field" title="{{.Z}}"></i>`)
	if want := `<p class="x">Runde {{num .L 1}}, Kurve {{.T}}</p><i aria-label="ein Feld" title="{{.Z}}"></i>`; got != want {
		t.Errorf("got %s\nwant %s", got, want)
	}
	src := `<p>turn {{.T}} lap {{num .L 1}}</p>{{if .X}} and {{end}}`
	if got := Catalogue(nil).Translate(src); got != src {
		t.Errorf("English changed: %s", got)
	}
	if got := c.Say("turn {1} lap {2}", 3, "4"); got != "Runde 4, Kurve 3" {
		t.Errorf("Say: %s", got)
	}
}

func TestParseSaysWhatIsWrong(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"\tx\n", "xx.txt:1: a translation without"},
		{"a\nb\n\tc\n", "xx.txt:2: the text on line 1 has no translation"},
		{"a {1}\n\tb\n", "xx.txt:2: the translation holds [], the English text on line 1 [{1}]"},
		{"a\n", "xx.txt:1: the text has no translation"},
	} {
		if _, err := Parse("xx.txt", c.text); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v, want %q", c.text, err, c.want)
		}
	}
}
