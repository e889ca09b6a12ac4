package web

import (
	"fmt"
	"html"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"cornerwright/internal/book"
	"cornerwright/internal/debrief"
	"cornerwright/internal/words"
)

// A language in which every text of the catalogue stands in brackets.
func bracketed() words.Catalogue {
	c := words.Catalogue{}
	for _, m := range words.Texts() {
		c[m] = "⟦" + m + "⟧"
	}
	return c
}

var (
	silentParts = regexp.MustCompile(`(?s)<(script|style|code|textarea|pre)\b.*?</(script|style|code|textarea|pre)>`)
	shownCode   = regexp.MustCompile(`<p class="code">[^<]*</p>`)
	spokenAttr  = regexp.MustCompile(`\s(?:aria-label|title|placeholder|alt)="([^"]*)"`)
	tags        = regexp.MustCompile(`<[^>]*>`)
	innermost   = regexp.MustCompile(`⟦[^⟦⟧]*⟧`)
	quoted      = regexp.MustCompile(`“[^”]*”`) // what people said themselves
	aWord       = regexp.MustCompile(`[A-Za-z]{3,}`)
)

// left is what of a page's texts, seen or read out, no text of the catalogue
// covers, block by block.
func left(page string) []string {
	page = silentParts.ReplaceAllString(page, " ")
	page = shownCode.ReplaceAllString(page, " ")
	var attrs []string
	for _, m := range spokenAttr.FindAllStringSubmatch(page, -1) {
		attrs = append(attrs, m[1])
	}
	page = regexp.MustCompile(`</?(p|li|h1|h2|h3|td|th|div|ul|tr|table|section|small|label|summary|button|option|text|title|svg|g|a|dt|dd|nav|legend)\b[^>]*>`).ReplaceAllString(page, "\n")
	lines := strings.Split(tags.ReplaceAllString(page, ""), "\n")
	var out []string
	for _, l := range append(lines, attrs...) {
		l = html.UnescapeString(l)
		for innermost.MatchString(l) {
			l = innermost.ReplaceAllString(l, "")
		}
		if l = strings.TrimSpace(quoted.ReplaceAllString(l, "")); l != "" {
			out = append(out, l)
		}
	}
	return out
}

// given are names, units and what people wrote: they are the same in every
// language, and the only letters that a page may show beside the catalogue.
var given = []string{
	"Heron 998", "Cornerwright", "heron.toml", "run-1.csv", "run-2.csv", "set 1, warm", "dry",
	"slip-target", "engine-brake", "wheelie-limit", "torque-limit", "throttle-map", "blip", "rear-lift", "brake-slip",
	"into three it pushes me on", "drag in second", "test", "segment", "page",
	"degC", "km/h", "mph", "°C", "°F", "Nm", "lbf·ft", "bar", "psi", "1/min", "Hz", "deg", "May", "rpm",
	"(devel) Ada ratio", // a version of the program, who is in, a unit
	// Columns as the file names them.
	"Time Latitude Longitude GPS speed heading height Front wheel Rear Engine Gear Twist grip Throttle plate Torque reduction brake pressure Clutch switch Lean angle Roll rate Pitch Yaw Longitudinal Lateral Vertical acceleration Fork travel Shock Bar Coolant temperature Air Lambda Slot",
	"PDF", "csv", "TOML", "gps_satellites", "gps_hdop",
}

// translated is a site whose pages are in the bracketed language.
func translated(t *testing.T, b *book.Book) *site {
	t.Helper()
	s := aSite(t, b)
	you := You{Decimal: "1.5", Dates: "2026-05-14", Lang: "en"}
	in, err := newSet(you, bracketed())
	if err != nil {
		t.Fatal(err)
	}
	s.voices.sets = map[voice]*set{}
	for _, name := range []string{"", "Ada"} {
		you.Name = name
		s.voices.sets[you.voice()] = in
	}
	return s
}

// allowed are the words that stand on pages untranslated: names and units.
func allowed(t *testing.T, b *book.Book) map[string]bool {
	t.Helper()
	out := map[string]bool{}
	add := func(texts ...string) {
		for _, s := range texts {
			for _, w := range aWord.FindAllString(s, -1) {
				out[w] = true
			}
		}
	}
	add(given...)
	k, err := b.Bike("Heron 998")
	if err != nil {
		t.Fatal(err)
	}
	for _, q := range k.Bike.Settings {
		add(q.ID, q.Unit, q.More)
	}
	cs, err := b.Circuits()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range cs {
		add(c.Name)
	}
	return out
}

// TestNothingStaysEnglish renders every page, with its pictures and what it reads
// out, in a language that puts every text of the catalogue in brackets: outside
// of these there are names, numbers and units, and no word of ours.
func TestNothingStaysEnglish(t *testing.T) {
	b := aBook(t)
	for turn, says := range map[int]debrief.Complaint{1: "held-back", 2: "pushes-on", 3: "hops", 4: "late-pick-up", 5: "spins", 6: "fine"} {
		if _, err := b.AddRemark(debrief.Remark{Run: 1, Turns: []int{turn}, Says: says, Strength: 2}, "test", string(says)); err != nil {
			t.Fatal(err)
		}
	}
	s := translated(t, b)
	ok := allowed(t, b)
	runs, err := b.Runs(book.RunFilter{})
	if err != nil {
		t.Fatal(err)
	}
	c := "/circuit/" + url.PathEscape(runs[0].Circuit)
	m := "/map/" + runs[0].Original
	looked := 0
	defer func() { t.Logf("%d answers looked at", looked) }()
	see := func(what, page string) {
		t.Helper()
		looked++
		if n := strings.Count(page, "⟦"); n < 5 {
			t.Errorf("%s is not in the second language: %d texts", what, n)
		}
		seen := map[string]bool{}
		for _, l := range left(page) {
			for _, w := range aWord.FindAllString(l, -1) {
				if !ok[w] && !seen[l] {
					seen[l] = true
					t.Errorf("%s shows %q outside the catalogue: %q", what, w, l)
				}
			}
		}
	}
	for _, path := range []string{"/", "/run/1", "/run/2", "/run/1/turn/3", "/run/2/turn/3?with=1", "/run/1/traces", "/run/1/step/own", "/run/1/step/own?change=" + url.QueryEscape("B:engine-brake[2] +5"),
		"/step/1", "/step/1/plan", "/step/1/verdict", "/add", m, "/bikes", "/bike/Heron%20998", c, "/season", "/status", "/share", "/join", "/you", "/phone/1", "/phone/1?turn=3", "/phone/1?turn=3&says=spins",
		// What is not there or cannot be.
		"/run/99", "/run/x", "/run/1/turn/77", "/run/1/turn/x", "/step/99", "/step/x", "/bike/None", "/circuit/None", "/meeting/none", "/map/none", "/run/1/step/r9.9", "/run/1/trace.bin?lap=99", "/run/1/trace.bin?turn=99", "/step/1/sheet.pdf?size=Quarto", "/run/1/step/own?change=B:engine-brake%5B2%5D", "/run/1/step/own?change=nothing", "/run/1/step/own?change=" + url.QueryEscape("B:slip-target[500] +1"), "/step/1/plan?effect=0.5"} {
		see(path, s.crew.get(path).Body.String())
	}
	for _, f := range []struct {
		path string
		form url.Values
	}{
		{"/run/1/remark", nil},
		{"/run/1/remark", url.Values{"words": {"it is strange"}}},
		{"/run/1/remark", url.Values{"words": {"it spins"}}},
		{"/run/1/remark", url.Values{"words": {"it pushes in turn 3"}}},
		{"/run/1/remark", url.Values{"says": {"spins"}, "turn": {"77"}}},
		{"/run/1/remark", url.Values{"says": {"spins"}, "turn": {"three"}}},
		{"/run/1/remark", url.Values{"says": {"wrong-word"}, "turn": {"3"}}},
		{"/run/1/remark", url.Values{"says": {"spins"}, "turn": {"3"}, "strength": {"9"}}},
		{"/run/1/remark", url.Values{"says": {"spins"}, "turn": {"3"}, "phase": {"nowhere"}}},
		{"/run/1/lap", url.Values{"lap": {"x"}}},
		{"/run/1/lap", url.Values{"lap": {"2"}, "word": {"weather"}}},
		{"/run/1/step/own", url.Values{"change": {""}}},
		{"/run/1/step/own", url.Values{"change": {"B:engine-brake[2] +5"}, "from": {"1"}}},
		{"/run/1/step/own", url.Values{"change": {"B:engine-brake[2] +5"}, "from": {"1"}, "matters": {"much"}}},
		{"/run/1/step/own", url.Values{"change": {"B:engine-brake[2] +40"}, "reason": {"r"}, "author": {"a"}, "from": {"2"}}},
		{"/step/1/state", url.Values{"from": {"proposed"}, "to": {"loaded"}}},
		{"/step/1/state", url.Values{"from": {"loaded"}, "to": {"proposed"}, "who": {"a"}}},
		{c, url.Values{"version": {"99"}}},
		{c, url.Values{"version": {"1"}, "do": {"merge"}, "first": {"1"}, "last": {"1"}}},
		{c, url.Values{"version": {"1"}, "do": {"split"}, "at": {"x"}}},
		{c, url.Values{"version": {"1"}, "do": {"renumber"}, "number": {"1"}, "to": {"0"}}},
		{c, url.Values{"version": {"1"}, "do": {"drop"}, "number": {"99"}}},
		{c, url.Values{"version": {"1"}, "do": {"gate"}, "at": {"1000000"}}},
		{m, url.Values{"channel-1": {"ignore"}}},
		{"/add/watch", url.Values{"what": {"folder"}, "folder": {""}}},
		{"/add/watch", url.Values{"what": {"folder"}, "folder": {"/nowhere/at/all"}}},
		{"/join", url.Values{"code": {"XXXXXXXX"}}},
	} {
		w := s.crew.sign(f.path, f.form)
		if w.Code == 303 {
			t.Errorf("%s %v was taken", f.path, f.form)
			continue
		}
		ok := ok
		for _, v := range f.form {
			for _, w := range aWord.FindAllString(strings.Join(v, " "), -1) {
				ok[w] = true
			}
		}
		see(fmt.Sprint(f.path, " ", f.form.Encode()), w.Body.String())
	}
}

// What is wrong with a file is said in the language of the page, with the values
// it was found with.
func TestProblemsOfFilesAreTranslated(t *testing.T) {
	b := aBook(t)
	s := translated(t, b)
	ok := allowed(t, b)
	for _, w := range []string{"Time", "Speed", "widget", "furlong", "txt", "bad", "log", "PNG", "name", "mass", "total", "slots", "reference", "GPX", "NMEA", "Parquet", "CAN", "thing"} {
		ok[w] = true
	}
	for name, data := range map[string]string{
		"empty.txt": "", "bad.txt": "no table at all", "numbers.txt": "1,2,3\n4,5,6\n7,8,9\n", "page.txt": "<!doctype html><html><body>sign in</body></html>", "bad.png": "\x89PNG\r\n\x1a\n0000",
		"thing.txt": "Time,widget\n0,1\n0.1,2\n0.2,3\n", "one.txt": "Time [s],Speed [furlong]\n0,1\n", "still.txt": "Time [s],Speed [km/h]\n0,1\n0,2\n0,3\n", "bad.json": "{\"a\": 1}", "bad.gz": "\x1f\x8b\x08\x00garbage", "bad.zip": "PK\x03\x04garbage",
	} {
		w := s.sendFile("/add", "recording", name, []byte(data), url.Values{"bike": {"Heron 998"}})
		page := w.Body.String()
		if w.Code == 303 || !strings.Contains(page, `role="alert"`) {
			t.Errorf("%s: %d, no trouble told", name, w.Code)
		}
		for _, w := range aWord.FindAllString(name, -1) {
			ok[w] = true
		}
		for _, l := range left(page) {
			for _, w := range aWord.FindAllString(l, -1) {
				if !ok[w] {
					t.Errorf("%s: %q outside the catalogue: %q", name, w, l)
					break
				}
			}
		}
	}
	w := s.sendFile("/bikes", "file", "bad.toml", []byte("name = \"\"\nmass = 3\n[slots]\nreference = \"Q\"\n"), nil)
	for _, l := range left(w.Body.String()) {
		for _, w := range aWord.FindAllString(l, -1) {
			if !ok[w] && w != "toml" {
				t.Errorf("bad.toml: %q outside the catalogue: %q", w, l)
				break
			}
		}
	}
}
