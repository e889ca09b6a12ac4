package browser

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"cornerwright/internal/book"
)

// call sends the browser one command.
func call[P, R any](w *tab, c cdp.Command[P, R], p P, what string) {
	w.t.Helper()
	_, err := chromedp.Call(w.ctx, c, p)
	w.must(err, what)
}

// middle of an element, in the window's pixels, after it was brought into view.
func (w *tab) middle(css string) (x, y float64) {
	w.t.Helper()
	w.wait("document.querySelector(" + quote(css) + ")")
	at := js[[]float64](w, fmt.Sprintf(`(e => { e.scrollIntoView({block: "center", behavior: "instant"}); const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2] })(document.querySelector(%s))`, quote(css)))
	return at[0], at[1]
}

// drag brings files from outside over an element, as a mouse does that comes
// from a folder's window, and leaves them in the air.
func (w *tab) drag(css string, files ...string) (drop func()) {
	w.t.Helper()
	x, y := w.middle(css)
	data := &input.DragData{Items: []*input.DragDataItem{}, Files: files, DragOperationsMask: 1}
	at := func(kind input.DispatchDragEventType) {
		w.t.Helper()
		call(w, input.DispatchDragEvent, input.DispatchDragEventParams{Type: kind, X: x, Y: y, Data: data}, string(kind))
	}
	at(input.DispatchDragEventTypeDragEnter)
	at(input.DispatchDragEventTypeDragOver)
	return func() { w.t.Helper(); at(input.DispatchDragEventTypeDragOver); at(input.DispatchDragEventTypeDrop) }
}

func bikeBook(t testing.TB, opts ...book.Option) *book.Book {
	t.Helper()
	b, err := book.Create(filepath.Join(t.TempDir(), "book"), opts...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	addBike(t, b)
	return b
}

func addBike(t testing.TB, b *book.Book) {
	t.Helper()
	toml, err := os.ReadFile(file(t, "bike.toml"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.AddBike("bike.toml", toml); err != nil {
		t.Fatal(err)
	}
}

// A recording is dropped by the mouse on a page that has no form for it: the
// page shows that it would be taken, takes it and goes to the run.
func TestDropByMouse(t *testing.T) {
	s := serve(t, bikeBook(t))
	w := open(t, s.crew, 1366, 900)
	w.go_("/season")
	w.see("measure")
	drop := w.drag("main", file(t, "first.csv"))
	w.wait("document.body.classList.contains('over')")
	drop()
	w.at("/run/1$")
	w.see("say something")
	if js[bool](w, "document.body.classList.contains('over')") {
		t.Error("the page still waits for a drop")
	}
	w.quiet()
}

// A log of a bus and its signal database are dropped together: the log is read by
// the database, and both are kept as one original.
func TestDropLogWithItsDatabase(t *testing.T) {
	b := bikeBook(t)
	s := serve(t, b)
	w := open(t, s.crew, 1366, 900)
	w.go_("/")
	abs := func(name string) string {
		p, err := filepath.Abs("../../intake/testdata/can/" + name)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	w.drag("main", abs("basic.log"), abs("bus.dbc"))()
	// The log is a few seconds long and holds no lap: what is wrong with it is told
	// from what the database made of it, not that a database is wanted.
	w.see("say what its columns are")
	if text := js[string](w, "document.body.innerText"); strings.Contains(text, "needs its signal database") {
		t.Errorf("the database did not come with the log: %s", text)
	}
	hash := js[string](w, `document.querySelector('a[href^="/map/"]').getAttribute("href").slice(5)`)
	w.go_("/map/" + hash)
	w.see("front_wheel_speed")
	f, err := b.Original(hash)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	data, err := io.ReadAll(f)
	if err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatalf("the original holds not both: %v", err)
	}
	var names []string
	for _, m := range z.File {
		names = append(names, m.Name)
	}
	if len(names) != 2 || !slices.Contains(names, "basic.log") || !slices.Contains(names, "bus.dbc") {
		t.Errorf("the original holds %v", names)
	}
	w.quiet()
}

// pinch puts two fingers on an element and moves them apart by a factor.
func (w *tab) pinch(css string, from, to, upright float64) {
	w.t.Helper()
	x, y := w.middle(css)
	touch := func(kind input.DispatchTouchEventType, d float64) {
		w.t.Helper()
		one, two := 1.0, 2.0
		p := input.DispatchTouchEventParams{Type: kind, TouchPoints: []*input.TouchPoint{}}
		if d > 0 {
			p.TouchPoints = []*input.TouchPoint{{X: x - d/2, Y: y - upright*d/2, ID: &one}, {X: x + d/2, Y: y + upright*d/2, ID: &two}}
		}
		call(w, input.DispatchTouchEvent, p, "touch")
	}
	touch(input.DispatchTouchEventTypeTouchStart, from)
	for i := 1.0; i <= 8; i++ {
		touch(input.DispatchTouchEventTypeTouchMove, from+(to-from)*i/8)
	}
	touch(input.DispatchTouchEventTypeTouchEnd, 0)
}

// Two fingers moved apart show a part of the lap, moved together again more of
// it, and the page itself is not scaled; flat or slanting makes no difference.
func TestPinchTraces(t *testing.T) {
	s := serve(t, dayBook(t))
	w := open(t, s.crew, 390, 844)
	for _, upright := range []float64{0, 1} {
		w.go_("/run/2/traces")
		w.wait("document.querySelector('#traces')?.dataset.ready")
		shown := func() float64 {
			w.wait("document.querySelector('#traces').dataset.view")
			js[bool](w, "new Promise(d => requestAnimationFrame(() => requestAnimationFrame(() => d(true))))")
			v := js[[]float64](w, "document.querySelector('#traces').dataset.view.split(' ').map(Number)")
			return v[1] - v[0]
		}
		whole := shown()
		w.pinch("#traces .stage", 60, 180, upright)
		near := shown()
		// Three times as far apart shows a third.
		if near < 0.3*whole || near > 0.37*whole {
			t.Errorf("upright %g: fingers three times as far apart show %.0f of %.0f m", upright, near, whole)
		}
		w.shot(fmt.Sprintf("pinched-%g", upright))
		w.pinch("#traces .stage", 180, 90, upright)
		if far := shown(); far < 1.8*near || far > 2.2*near {
			t.Errorf("upright %g: fingers at half the distance show %.0f m, before %.0f m", upright, far, near)
		}
		if scale := js[float64](w, "visualViewport.scale"); scale != 1 {
			t.Errorf("the page was scaled by %g", scale)
		}
	}
	w.quiet()
}

// A file whose columns nobody can know from their names is mapped with the
// mouse alone, and read.
func TestMapColumnsByMouse(t *testing.T) {
	text, err := os.ReadFile(file(t, "first.csv"))
	if err != nil {
		t.Fatal(err)
	}
	for from, to := range map[string]string{"Breitengrad": "c one", "Längengrad": "c two"} {
		if bytes.Count(text, []byte(from)) != 1 {
			t.Fatalf("the demo day's recording has no column %q", from)
		}
		text = bytes.Replace(text, []byte(from), []byte(to), 1)
	}
	path := filepath.Join(t.TempDir(), "strange.csv")
	if err := os.WriteFile(path, text, 0o644); err != nil {
		t.Fatal(err)
	}
	s := serve(t, bikeBook(t))
	w := open(t, s.crew, 1366, 900)
	w.go_("/add")
	w.upload("#recording", path)
	w.click("#add button")
	w.click("#trouble a[href^='/map/']")
	w.see("drag a name")
	for _, m := range []struct{ channel, column string }{{"latitude", "c one"}, {"longitude", "c two"}} {
		js[bool](w, "(r => { r.id = 'wanted'; return true })([...document.querySelectorAll('[data-column]')].find(r => r.innerText.includes("+quote(m.column)+")))")
		w.must(chromedp.Do(w.ctx, chromedp.DragAndDrop(chromedp.CSS("[data-channel="+m.channel+"]"), chromedp.CSS("#wanted td"))), "drag "+m.channel)
		if got := js[string](w, "document.querySelector('#wanted select').value"); got != m.channel {
			t.Errorf("%s was dropped on %q, which is now %q", m.channel, m.column, got)
		}
		js[bool](w, "(document.querySelector('#wanted').removeAttribute('id'), true)")
	}
	w.shot("columns")
	w.click("main form button")
	w.at("/run/1$")
	w.see("say something")
	w.quiet()
}

// A book on a full disk takes nothing, says so where the person stands, keeps
// what was typed, and takes it when there is room.
func TestFullDisk(t *testing.T) {
	b, makeRoom := cramped(t)
	s := serve(t, b)
	w := open(t, s.crew, 1366, 900)
	w.go_("/add")
	w.upload("#recording", file(t, "first.csv"))
	w.fill("input[name=tyre]", "set 1, warm")
	w.click("#add button")
	w.wait("document.querySelector('#trouble .trouble')")
	w.see("the disk is full")
	w.see("make room")
	w.shot("full-disk")
	if got := js[string](w, "document.querySelector('input[name=tyre]').value"); got != "set 1, warm" {
		t.Errorf("what was typed is %q", got)
	}
	makeRoom()
	w.click("#add button")
	w.at("/run/1$")
	w.see("set 1, warm")
	w.quiet()
}

// A file that is taken away, before it is sent or in the middle, is not taken,
// and the page says why; put back, it is.
func TestFileRemovedWhileReading(t *testing.T) {
	s := serve(t, bikeBook(t))
	w := open(t, s.crew, 1366, 900)
	path := filepath.Join(t.TempDir(), "stick.csv")
	text, err := os.ReadFile(file(t, "first.csv"))
	if err != nil {
		t.Fatal(err)
	}
	put := func() {
		t.Helper()
		if err := os.WriteFile(path, text, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	put()
	w.go_("/add")
	w.fill("input[name=note]", "from the stick")
	w.upload("#recording", path)
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	w.click("#add button")
	w.wait("document.querySelector('#trouble .trouble')")
	w.see("taken away")
	w.see("put it back in")

	// In the middle: the line is slow, a part has gone out.
	put()
	w.upload("#recording", path)
	slow := func(bytesPerSecond float64) {
		call(w, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{MatchedNetworkConditions: []*network.Conditions{{DownloadThroughput: -1, UploadThroughput: bytesPerSecond}}}, "slow line")
	}
	slow(float64(len(text)) / 6)
	w.click("#add button")
	w.wait("document.querySelector('#bar').value > 0.02")
	if err := os.Truncate(path, 1000); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	w.wait("document.querySelector('#trouble .trouble')")
	w.shot("taken-away")
	if n := js[int](w, "fetch('/').then(r => r.text()).then(x => new DOMParser().parseFromString(x, 'text/html').querySelectorAll('main table tbody tr').length)"); n != 0 {
		t.Errorf("%d runs of half a file", n)
	}
	slow(-1)

	put()
	w.upload("#recording", path)
	w.click("#add button")
	w.at("/run/1$")
	w.see("from the stick")
	w.quiet()
}

// The crew ends a rider's session while a remark is being typed: sending it
// leads to the code, and with a new code it is sent as it was typed, once.
func TestSessionEndsWhileTyping(t *testing.T) {
	for _, scripts := range []bool{true, false} {
		s := serve(t, dayBook(t))
		crew, rider := open(t, s.crew, 1366, 900), open(t, s.phone, 1000, 900)
		code := func() string {
			crew.go_("/share")
			before := js[string](crew, "document.querySelector('p.code')?.textContent ?? ''")
			crew.click("button[name=role][value=rider]")
			crew.wait("document.querySelector('p.code') && document.querySelector('p.code').textContent !== " + quote(before))
			return js[string](crew, "document.querySelector('p.code').textContent.trim()")
		}
		join := func() {
			rider.fill("#code", code())
			rider.click("main form button")
		}
		rider.go_("/join")
		rider.fill("input[name=name]", "Ada")
		join()
		rider.wait("!location.pathname.startsWith('/join')")
		if !scripts {
			rider.scripts(false)
		}
		const words = "into seven it pushes me on, “just a little” & then it grips <again>"
		rider.go_("/run/2")
		rider.fill("#words", words)
		rider.choose("select[name=strength]", "3")

		crew.go_("/share")
		crew.click("button[name=session]")
		crew.wait("document.readyState === 'complete' && !document.querySelector('main').innerText.includes('Ada')")
		if scripts {
			rider.see("your session has ended")
			if got := js[string](rider, "document.querySelector('#words').value"); got != words {
				t.Errorf("the field holds %q", got)
			}
		}
		rider.click("#say form button")
		rider.see("nothing of it is lost")
		rider.see(words)
		rider.shot("session-ended")
		join()
		rider.see("you are in again")
		rider.see(words)
		rider.click("main form button")
		rider.at("/run/2")
		rider.see(words)
		if n := js[int](crew, "fetch('/run/2').then(r => r.text()).then(x => [...new DOMParser().parseFromString(x, 'text/html').querySelectorAll('#said article .said .words')].filter(p => p.textContent.includes("+quote(words)+")).length)"); n != 1 {
			t.Errorf("scripts %v: the remark stands %d times", scripts, n)
		}
		rs, err := s.book.Remarks(2)
		if err != nil {
			t.Fatal(err)
		}
		if last := rs[len(rs)-1]; last.Words != words || last.Strength != 3 || last.Rider != "Ada" {
			t.Errorf("scripts %v: written down as %q, strength %d, by %q", scripts, last.Words, last.Strength, last.Rider)
		}
		crew.quiet()
		rider.quiet()
	}
}
