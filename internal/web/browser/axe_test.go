package browser

import (
	_ "embed"
	"fmt"
	"strings"
	"testing"
)

// axe-core 4.14.1, see NOTICE: rules of WCAG 2.0 to 2.2, levels A and AA, and
// the makers' best practices.
//
//go:embed testdata/axe.min.js
var axe string

// Every page there is, on the demo day.
var pages = []struct{ name, path, has string }{
	{"day", "/", "runs in order"},
	{"run", "/run/1", "say something"},
	{"trial", "/run/2", "say something"},
	{"turn", "/run/1/turn/10", "every lap"},
	{"turn-beside", "/run/2/turn/10?with=1", "every lap"},
	{"traces", "/run/2/traces", "choose laps"},
	{"own-step", "/run/1/step/own", "the change, in one line"},
	{"step", "/step/1", "what is changed"},
	{"plan", "/step/1/plan", "plan again"},
	{"verdict", "/step/1/verdict", "all measures"},
	{"add", "/add", "put it in the book"},
	{"bikes", "/bikes", "heron"},
	{"bike", "/bike/Heron%20998", "the bike file"},
	{"season", "/season", "measure"},
	{"status", "/status", "version"},
	{"share", "/share", "who is in"},
	{"join", "/join", "code"},
	{"you", "/you", "theme"},
	{"phone", "/phone/1", "where"},
	{"phone-what", "/phone/1?turn=10", "what it does"},
	{"phone-much", "/phone/1?turn=10&says=spins", "how much"},
	{"missing", "/run/99", "run"},
}

// No page breaks a rule of accessibility, light or dark, large or small.
func TestAccessibility(t *testing.T) {
	s := serve(t, dayBook(t))
	for _, size := range []struct {
		name          string
		width, height int64
	}{{"laptop", 1366, 900}, {"phone", 390, 844}} {
		w := open(t, s.crew, size.width, size.height)
		w.go_("/")
		circuit := js[string](w, "[...document.querySelectorAll('a')].map(a => a.pathname).find(p => p.startsWith('/circuit/'))")
		list := append(pages[:len(pages):len(pages)], struct{ name, path, has string }{"circuit", circuit, "turns"})
		if size.name == "phone" && testing.Short() {
			break
		}
		themes := []string{"light", "dark"}
		if size.name == "phone" { // colours are the same at every size
			themes = themes[:1]
		}
		for _, theme := range themes {
			w.theme(theme)
			for _, p := range list {
				w.go_(p.path)
				w.see(p.has)
				if strings.Contains(p.name, "turn") || p.name == "traces" {
					w.wait("document.querySelector('#traces canvas')")
				}
				w.shot(fmt.Sprintf("%s-%s-%s", p.name, size.name, theme))
				for _, v := range w.axe() {
					t.Errorf("%s, %s, %s: %s", p.path, size.name, theme, v)
				}
				if over := js[int](w, "document.documentElement.scrollWidth - innerWidth"); over > 1 {
					t.Errorf("%s is %d px wider than the %s's window", p.path, over, size.name)
				}
			}
		}
		w.quiet()
	}
}

// axe lists what breaks a rule on the page: rule, help, the first places.
func (w *tab) axe() []string {
	w.t.Helper()
	js[bool](w, axe+"\n;true")
	return js[[]string](w, `axe.run(document, {resultTypes: ["violations"]}).then(r => r.violations.map(v => v.id + " (" + v.impact + "): " + v.help + ": " + v.nodes.slice(0, 3).map(n => n.target.join(" ") + " " + (n.failureSummary || "").replace(/\s+/g, " ").slice(0, 200)).join("; ")))`)
}
