package web

import (
	"fmt"
	"html/template"
	"math"
	"net/http"
	"regexp"
	"strings"
	"sync"
	"time"

	"cornerwright/internal/circuit"
	"cornerwright/internal/draw"
	"cornerwright/internal/say"
	"cornerwright/internal/unit"
	"cornerwright/internal/words"
)

// voice is how pages are said to a person: language, and how numbers and dates
// are written. Each voice has its own set of templates, made when it is first
// asked for: a page then costs the same in all of them.
type voice struct{ lang, decimal, dates string }

type voices struct {
	mu   sync.Mutex
	sets map[voice]*set
}

type set struct {
	pages  *template.Template
	words  words.Catalogue
	script map[string]string // of the texts, those that scripts say; nil in English
}

func (y You) voice() voice { return voice{y.Lang, y.Decimal, y.Dates} }

// in returns the templates of a voice.
func (v *voices) in(y You) (*set, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if s := v.sets[y.voice()]; s != nil {
		return s, nil
	}
	c, err := words.Load(y.Lang)
	if err != nil {
		return nil, err
	}
	s, err := newSet(y, c)
	if err == nil {
		if v.sets == nil {
			v.sets = map[voice]*set{}
		}
		v.sets[y.voice()] = s
	}
	return s, err
}

// said is a text in the language of who asks.
func (s *server) said(r *http.Request, t say.Text) string {
	v, err := s.voices.in(youOf(r))
	if err != nil {
		return t.String()
	}
	return youOf(r).prose(t.In(v.words))
}

func newSet(y You, c words.Catalogue) (*set, error) {
	t := template.New("pages").Funcs(helpers).Funcs(y.helpers()).Funcs(y.speech(c))
	list, err := assets.ReadDir("pages")
	if err != nil {
		return nil, err
	}
	for _, f := range list {
		src, err := assets.ReadFile("pages/" + f.Name())
		if err != nil {
			return nil, err
		}
		if _, err := t.New(f.Name()).Parse(c.Translate(string(src))); err != nil {
			return nil, err
		}
	}
	s := &set{pages: t, words: c}
	if c == nil {
		return s, nil
	}
	s.script = map[string]string{}
	list, err = assets.ReadDir("assets")
	if err != nil {
		return nil, err
	}
	for _, f := range list {
		if !strings.HasSuffix(f.Name(), ".js") {
			continue
		}
		src, err := assets.ReadFile("assets/" + f.Name())
		if err != nil {
			return nil, err
		}
		for _, m := range append(words.InScript(string(src)), stages...) {
			if said := c.Say(m); said != m {
				s.script[m] = said
			}
		}
	}
	return s, nil
}

const commaChoice = "1,5"

// dateLayouts by the example that stands in the choice.
var dateLayouts = map[string]string{"2026-05-14": "2006-01-02", "14 May 2026": "2 Jan 2006", "14/05/2026": "02/01/2006", "05/14/2026": "01/02/2006"}

// point writes a number's decimal mark as the person does.
func (y You) point(s string) string {
	if y.Decimal == commaChoice {
		return strings.Replace(s, ".", ",", 1)
	}
	return s
}

var (
	minusSign    = regexp.MustCompile(`(^|[\s(])-(\d)`)
	decimalPoint = regexp.MustCompile(`(\d)\.(\d)`)
	drawnText    = regexp.MustCompile(`(?s)<text[^>]*>[^<]*</text>|<title>[^<]*</title>`)
)

// prose writes the decimal marks and the minus signs of a sentence that we wrote
// ourselves. Words of riders, names of files and the like are never touched.
func (y You) prose(s string) string {
	s = minusSign.ReplaceAllString(s, "$1−$2")
	if y.Decimal == commaChoice {
		return decimalPoint.ReplaceAllString(s, "$1,$2")
	}
	return s
}

// speech says sentences and words of our own in the language of the page: prose
// a sentence with numbers, answer a word of a closed list, phase a phase, unit
// the unit of a number.
func (y You) speech(c words.Catalogue) template.FuncMap {
	text := func(v any) string {
		switch v := v.(type) {
		case say.Text:
			return v.In(c)
		case string:
			return c.Find(v)
		}
		return c.Find(fmt.Sprint(v))
	}
	return template.FuncMap{
		"prose": func(v any) string { return y.prose(text(v)) },
		"day": func(iso string) string {
			if d := y.day(iso); d != iso {
				return d
			}
			return c.Find(iso) // "undated"
		},
		"note": func(s string) string {
			if file, ok := strings.CutPrefix(s, "values of "); ok {
				return say.T("values of {file}", file).In(c)
			}
			return s
		},
		// sentence begins with a large letter and ends with a full stop.
		"sentence": func(t say.Text) say.Text {
			if t == "" {
				return t
			}
			return say.T("{text^}.", t)
		},
		"runs":   func(n int) string { return say.T("{n} {n|run|runs}", n).In(c) },
		"joined": func(list []say.Text) string { return y.prose(say.Join(list, "; ").In(c)) },
		"answer": func(v any) string { return c.Find(spaced(v)) },
		"phase":  func(p circuit.Phase) string { return c.Find(phaseName(p)) },
		"unit":   func(s string) string { return c.Find(unit.Shown(s)) },
	}
}

// drawn writes the decimal marks of the pictures of a page.
func (y You) drawn(page []byte) []byte {
	if y.Decimal != commaChoice {
		return page
	}
	return drawnText.ReplaceAllFunc(page, func(b []byte) []byte { return decimalPoint.ReplaceAll(b, []byte("$1,$2")) })
}

// day writes an ISO date as the person does; what is none stays.
func (y You) day(iso string) string {
	t, err := time.Parse("2006-01-02", iso)
	if err != nil {
		return iso
	}
	return t.Format(dateLayouts[y.Dates])
}

// helpers of templates that depend on who reads.
func (y You) helpers() template.FuncMap {
	return template.FuncMap{
		"lap":    func(s float64) string { return y.point(draw.LapTime(s, 3)) },
		"num":    func(v float64, d int) string { return y.point(draw.Number(v, d)) },
		"signed": func(v float64, d int) string { return y.point(draw.Signed(v, d)) },
		"val":    func(v float64, key string) string { return y.point(draw.Number(v, unit.Places(key))) },
		"deg":    func(rad float64) string { return y.point(draw.Number(rad*180/math.Pi, 1)) },
		"when":   func(t time.Time) string { return t.Local().Format(dateLayouts[y.Dates] + " 15:04") },
	}
}
