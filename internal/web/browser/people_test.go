package browser

import (
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"context"

	"cornerwright/internal/book"
	"cornerwright/internal/debrief"
	"cornerwright/internal/setting"
)

func (w *tab) scripts(on bool) {
	w.t.Helper()
	_, err := chromedp.Run(w.ctx, func(ctx context.Context, t *chromedp.Target) (struct{}, error) {
		_, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: !on})
		return struct{}{}, err
	})
	w.must(err, "scripts")
}

// aDay is a closed book with a bike, two runs, a remark and a step loaded
// between them; made once and copied.
var aDay = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "cornerwright-day-")
	if err != nil {
		return "", err
	}
	dir = filepath.Join(dir, "book")
	b, err := book.Create(dir)
	if err != nil {
		return "", err
	}
	src, err := files()
	if err != nil {
		return "", err
	}
	toml, err := os.ReadFile(filepath.Join(src, "bike.toml"))
	if err != nil {
		return "", err
	}
	k, err := b.AddBike("bike.toml", toml)
	if err != nil {
		return "", err
	}
	ctx := context.Background()
	add := func(name string) error {
		_, err := b.Add(ctx, book.AddRequest{Path: filepath.Join(src, name), Tyre: "set 1, warm", Weather: "dry, 22 C"})
		return err
	}
	if err := add("first.csv"); err != nil {
		return "", err
	}
	for i, words := range []string{"out of ten it holds me back at full lean", "into seven it pushes me on"} {
		turn := []int{10, 7}[i]
		says := []debrief.Complaint{"held-back", "pushes-on"}[i]
		if _, err := b.AddRemark(debrief.Remark{Run: 1, Turns: []int{turn}, Says: says, Strength: 2, Words: words}, "test", fmt.Sprint("r", i)); err != nil {
			return "", err
		}
	}
	c, err := setting.ParseChange("B:slip-target[40..56, 140] +1", k.Bike.Setting)
	if err != nil {
		return "", err
	}
	sheet, err := b.CurrentSheet(k.Name)
	if err != nil {
		return "", err
	}
	st, err := c.Propose(k.Bike.Setting(c.Setting), sheet.Sheet)
	if err != nil {
		return "", err
	}
	st.Bike, st.Run, st.Reason = k.Name, 1, "held back out of ten at full lean"
	st.Primary = setting.Primary{Turn: 10, Measure: "segment", Expect: "less", Matters: 0.03}
	got, err := b.NewStep(ctx, st, book.StepOptions{Author: "Noor", Conditions: book.Conditions{Surface: "dry", Tyre: "warm", Air: "22 C, no wind"}})
	if err != nil {
		return "", err
	}
	if _, err := b.SetStepState(got.ID, book.Proposed, book.Loaded, "Noor", "", 0); err != nil {
		return "", err
	}
	if err := add("second.csv"); err != nil {
		return "", err
	}
	return dir, b.Close()
})

func dayBook(t testing.TB) *book.Book {
	t.Helper()
	dir, err := aDay()
	if err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), "book")
	if err := os.CopyFS(to, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	b, err := book.Open(to)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

// The rider joins with the crew's code, says something in three taps, and the
// crew's page shows it at once, once; a rider may not see the crew's pages.
func TestRiderAndCrewAtOnce(t *testing.T) {
	s := serve(t, dayBook(t))
	crew := open(t, s.crew, 1366, 900)
	rider := open(t, s.phone, 390, 844)

	rider.go_("/")
	rider.see("the crew has a code")
	crew.go_("/share")
	crew.click("button[name=role][value=rider]")
	crew.wait("document.querySelector('p.code')")
	code := js[string](crew, "document.querySelector('p.code').textContent.trim()")
	crew.go_("/run/2")

	rider.go_("/join")
	rider.fill("#code", code)
	rider.fill("input[name=name]", "Ada")
	rider.click("main form button")
	rider.wait("!location.pathname.startsWith('/join')")
	rider.go_("/phone")
	rider.see("where")
	rider.click("ul.tiles a[aria-label^='turn 3']")
	rider.see("what it does")
	rider.shot("phone-what")
	rider.click("#what ul.tiles a[href*='says=hops']")
	rider.see("how much")
	rider.click("#much button[value='3']")
	rider.see("written down")
	rider.shot("phone-said")

	crew.wait("document.querySelectorAll('#said article').length >= 1 && document.querySelector('#said').innerText.includes('Ada')")
	if n := js[int](crew, "[...document.querySelectorAll('#said article')].filter(a => a.innerText.includes('Ada')).length"); n != 1 {
		t.Errorf("the remark stands %d times on the crew's page", n)
	}
	// What the crew alone may see stays shut to the rider.
	for _, path := range []string{"/share", "/add", "/status"} {
		if status := js[int](rider, "fetch('"+path+"').then(r => r.status)"); status != 403 {
			t.Errorf("a rider gets %d from %s", status, path)
		}
	}
	// The crew ends the session: the phone must join again, and is told.
	crew.go_("/share")
	crew.click("button[name=session]")
	crew.wait("document.readyState === 'complete' && !document.querySelector('main').innerText.includes('Ada')")
	rider.go_("/phone")
	rider.see("the crew has a code")
	crew.quiet()
	rider.quiet()
}

// Two of the crew look at one step: the second is told that it has moved on,
// and what was typed is still there.
func TestTwoChangeTheSameStep(t *testing.T) {
	s := serve(t, dayBook(t))
	one, two := open(t, s.crew, 1366, 900), open(t, s.crew, 1366, 900)
	one.go_("/step/1")
	two.go_("/step/1")
	two.fill("input[name=reason]", "the rider wants it back")
	one.click("button[name=to][value=kept]")
	one.wait("document.querySelector('[data-live=state]')?.textContent === 'kept'")
	// The second page is as old as it was.
	two.click("button[name=to][value=reverted]")
	two.wait("document.querySelector('.trouble')")
	if got := js[string](two, "document.querySelector('input[name=reason]')?.value ?? document.body.innerText"); got != "the rider wants it back" {
		t.Errorf("what was typed is lost: %q", got)
	}
	two.go_("/step/1")
	if got := js[string](two, "document.querySelector('[data-live=state]').textContent"); got != "kept" {
		t.Errorf("the step is %s", got)
	}
	one.quiet()
	two.quiet()
}

// What is no recording is said to be none, in place, and changes nothing.
func TestWrongFile(t *testing.T) {
	s := serve(t, dayBook(t))
	w := open(t, s.crew, 1366, 900)
	bad := filepath.Join(t.TempDir(), "holiday.csv")
	if err := os.WriteFile(bad, []byte("\x89PNG\r\n\x1a\n0000"), 0o644); err != nil {
		t.Fatal(err)
	}
	w.go_("/add")
	w.upload("#recording", bad)
	w.click("#add button")
	w.wait("document.querySelector('#trouble .trouble')")
	w.shot("add-trouble")
	w.go_("/")
	if n := js[int](w, "document.querySelectorAll('main table')[0].querySelectorAll('tbody tr').length"); n != 2 {
		t.Errorf("%d runs, 2 were there", n)
	}
	w.quiet()
}
