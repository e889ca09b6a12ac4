package browser

import (
	"fmt"
	"strings"
	"testing"
)

// The whole day's job from an empty book, by the page alone, on a laptop and in
// a window of a phone's size.
func TestDayByThePageAlone(t *testing.T) {
	for _, size := range []struct {
		name          string
		width, height int64
	}{{"laptop", 1366, 900}, {"phone", 390, 844}} {
		t.Run(size.name, func(t *testing.T) {
			if testing.Short() && size.name == "phone" {
				t.Log("short: the laptop only")
				return
			}
			s := serve(t, emptyBook(t))
			w := open(t, s.crew, size.width, size.height)
			shot := func(name string) { w.shot(size.name + "-" + name) }

			w.go_("/")
			w.see("the book is empty")
			w.go_("/bikes")
			w.upload("#file", file(t, "bike.toml"))
			w.click("main form button")
			w.see("heron")

			ride := func(name string, run int) {
				w.go_("/add")
				w.upload("#recording", file(t, name))
				w.fill("input[name=tyre]", "set 1, warm")
				w.fill("input[name=weather]", "dry, 22 C")
				w.click("#add button")
				w.at(fmt.Sprintf("/run/%d$", run))
			}
			ride("first.csv", 1)
			shot("run-fresh")

			// The rider speaks, the data answer.
			w.fill("#words", "out of ten it holds me back at full lean")
			w.click("#say form button")
			w.see("out of ten it holds me back")
			w.wait("document.querySelector('#said .stance strong')")
			if got := js[string](w, "document.querySelector('#said .stance strong').textContent"); got != "agrees" {
				t.Errorf("the planted cause: the data say %q", got)
			}
			shot("debrief")

			// The step that answers it.
			w.click("#said .do.setting a.button")
			w.at("/run/1/step/")
			w.see("make it a step")
			shot("propose")
			w.fill("#reason", "held back out of ten at full lean")
			w.fill("input[name=author]", "Noor")
			w.choose("select[name=surface]", "dry")
			w.choose("select[name=tyre]", "warm")
			w.fill("input[name=air]", "22 C, no wind")
			w.click("form[method=post] button")
			w.at("/step/1$")
			w.see("closed circuit only")
			shot("step")
			sheet := js[[]string](w, "fetch('/step/1/sheet.pdf').then(r => r.text().then(x => [String(r.status), r.headers.get('Content-Type'), x.slice(0, 5)]))")
			if strings.Join(sheet, " ") != "200 application/pdf %PDF-" {
				t.Errorf("the change sheet: %v", sheet)
			}
			w.go_("/step/1/sheet.html")
			w.see("change, cell by cell")
			shot("sheet")
			w.go_("/step/1/plan")
			w.see("plan again")
			w.go_("/step/1")
			w.click("button[name=to][value=loaded]")
			w.wait("document.querySelector('[data-live=state]')?.textContent === 'loaded'")

			// The next run, and what came of it.
			ride("second.csv", 2)
			w.go_("/step/1/verdict")
			w.see("trial − reference")
			w.see("closed circuit only") // keeping a step changes what is ridden
			answer := js[string](w, "document.querySelector('p.answer').textContent.trim()")
			switch answer {
			case "better", "worse", "no difference", "not enough laps":
			default:
				t.Errorf("the verdict says %q", answer)
			}
			shot("verdict")

			// Back works, and nothing was entered twice.
			w.go_("/run/1")
			js[bool](w, "(history.back(), true)")
			w.at("/step/1/verdict$")
			if n := js[int](w, "fetch('/run/1').then(r => r.text()).then(x => [...new DOMParser().parseFromString(x, 'text/html').querySelectorAll('#said article .said .words')].filter(p => p.textContent.includes('out of ten')).length)"); n != 1 {
				t.Errorf("the remark stands %d times", n)
			}
			w.quiet()
		})
	}
}

// Nothing of the page is lost without scripts: the same links and forms.
func TestWithoutScripts(t *testing.T) {
	s := serve(t, dayBook(t))
	w := open(t, s.crew, 1366, 900)
	w.scripts(false)
	w.go_("/run/1")
	w.fill("#words", "into nine it pushes me on after the downshift")
	w.click("#say form button")
	w.see("into nine it pushes me on after the downshift")
	w.see("what the data say")
	w.go_("/run/1/turn/7")
	w.see("every lap")
	w.quiet()
}
