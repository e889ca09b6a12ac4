// Package browser tests the pages in a real browser: the day's job by the page
// alone, two people at once, accessibility, and that no request leaves the
// machine. It needs Chromium; where there is none the tests fail and say so.
package browser

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"math"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"cornerwright/internal/book"
	"cornerwright/internal/demo"
	"cornerwright/internal/web"
)

// chromium finds the browser that ./check names, or one on the path.
func chromium() (string, error) {
	if p := os.Getenv("CORNERWRIGHT_CHROMIUM"); p != "" {
		return p, nil
	}
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			return p, nil
		}
	}
	return "", fmt.Errorf("no Chromium on the path: install chromium, or name it in CORNERWRIGHT_CHROMIUM")
}

var theBrowser = sync.OnceValues(func() (context.Context, error) {
	path, err := chromium()
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "cornerwright-browser-")
	if err != nil {
		return nil, err
	}
	alloc, stop := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.UserDataDir(dir), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true), chromedp.Flag("disable-extensions", true), chromedp.Flag("disable-default-apps", true), chromedp.Flag("disable-dev-shm-usage", true),
		// Whatever the browser itself would look up outside is not found.
		chromedp.Flag("host-resolver-rules", "MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost"))...)
	ctx, cancel := chromedp.NewContext(alloc)
	closeBrowser = func() { cancel(); stop(); os.RemoveAll(dir) }
	return ctx, chromedp.Do(ctx)
})

var closeBrowser = func() {}

func TestMain(m *testing.M) {
	code := m.Run()
	closeBrowser()
	os.Exit(code)
}

// site is a book served twice: to this machine, which is crew, and as if to
// another machine of the network, which has to join.
type site struct {
	book        *book.Book
	crew, phone string
}

type from struct {
	http.Handler
	addr string
}

func (f from) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if f.addr != "" {
		r.RemoteAddr = f.addr
	}
	f.Handler.ServeHTTP(w, r)
}

func serve(t testing.TB, b *book.Book) *site {
	t.Helper()
	h, err := web.New(b, web.Options{Share: true, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	listen := func(addr string) string {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		srv := &http.Server{Handler: from{h, addr}, ReadHeaderTimeout: 5 * time.Second}
		go srv.Serve(l) //nolint:errcheck // closed below
		t.Cleanup(func() { srv.Close() })
		return "http://" + l.Addr().String()
	}
	return &site{b, listen(""), listen("192.168.7.9:50123")}
}

func emptyBook(t testing.TB) *book.Book {
	t.Helper()
	b, err := book.Create(filepath.Join(t.TempDir(), "book"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

// files are the demo day's, written once: bike.toml and two recordings.
var files = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "cornerwright-files-")
	if err != nil {
		return "", err
	}
	day := demo.Day(1)
	if err := os.WriteFile(filepath.Join(dir, "bike.toml"), day.Bike, 0o644); err != nil {
		return "", err
	}
	for i, name := range map[int]string{1: "first.csv", 2: "second.csv"} {
		var b bytes.Buffer
		if err := day.Runs[i].WriteText(&b); err != nil {
			return "", err
		}
		if err := os.WriteFile(filepath.Join(dir, name), b.Bytes(), 0o644); err != nil {
			return "", err
		}
	}
	return dir, nil
})

func file(t testing.TB, name string) string {
	t.Helper()
	dir, err := files()
	if err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, name)
}

// tab is one window of the browser with cookies of its own.
type tab struct {
	t    testing.TB
	ctx  context.Context
	base string

	mu      sync.Mutex
	outside []string // requests that left the machine
	errors  []string // script errors and broken policies
}

func open(t testing.TB, base string, width, height int64) *tab {
	t.Helper()
	root, err := theBrowser()
	if err != nil {
		t.Fatal(err)
	}
	w := &tab{t: t, base: base}
	ctx, cancel := chromedp.NewContext(root, chromedp.WithNewBrowserContext(), chromedp.WithListener(w.heard))
	w.ctx = ctx
	t.Cleanup(cancel)
	mobile := []chromedp.EmulateViewportOption{}
	if width < 600 {
		mobile = append(mobile, chromedp.EmulateMobile, chromedp.EmulateTouch)
	}
	w.must(chromedp.Do(ctx, chromedp.EmulateViewport(width, height, mobile...)), "the window")
	return w
}

func (w *tab) heard(ev any) {
	w.mu.Lock()
	defer w.mu.Unlock()
	switch e := ev.(type) {
	case *network.EventRequestWillBeSent:
		u, err := url.Parse(e.Request.URL)
		if err == nil && u.Scheme != "data" && u.Scheme != "blob" && u.Scheme != "about" && u.Hostname() != "127.0.0.1" {
			w.outside = append(w.outside, e.Request.URL)
		}
	case *runtime.EventExceptionThrown:
		w.errors = append(w.errors, fmt.Sprint(e.ExceptionDetails.Text, " ", e.ExceptionDetails.URL, ":", e.ExceptionDetails.LineNumber))
	}
}

// quiet fails the test if a script broke or a request left the machine.
func (w *tab) quiet() {
	w.t.Helper()
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, e := range w.errors {
		w.t.Errorf("a script broke: %s", e)
	}
	for _, u := range w.outside {
		w.t.Errorf("a request left the machine: %s", u)
	}
}

func (w *tab) must(err error, what string) {
	w.t.Helper()
	if err != nil {
		here, _ := chromedp.Run(w.ctx, chromedp.Location())
		text, _ := chromedp.Run(w.ctx, chromedp.Evaluate[string]("document.body ? document.body.innerText.slice(0, 1500) : ''"))
		w.shot("failed")
		w.t.Fatalf("%s: %v\nat %s:\n%s", what, err, here, text)
	}
}

// patience is how long a page or an upload may take before the test gives up;
// no test measures time.
const patience = 90 * time.Second

func (w *tab) go_(path string) {
	w.t.Helper()
	if !strings.HasPrefix(path, "http") {
		path = w.base + path
	}
	w.must(chromedp.Do(w.ctx, chromedp.Navigate(path)), "open "+path)
}

// js returns the JSON value of an expression, which may be a promise.
func js[T any](w *tab, expr string) T {
	w.t.Helper()
	v, err := chromedp.Run(w.ctx, chromedp.Evaluate[T](expr, chromedp.EvalAwaitPromise))
	w.must(err, "evaluate "+expr)
	return v
}

// wait waits until an expression is true.
func (w *tab) wait(expr string) {
	w.t.Helper()
	for until := time.Now().Add(patience); ; {
		ok, err := chromedp.Run(w.ctx, chromedp.Evaluate[bool]("Boolean("+expr+")"))
		if err == nil && ok {
			return
		}
		if time.Now().After(until) {
			w.must(fmt.Errorf("never true (%v)", err), "wait for "+expr)
		}
		time.Sleep(50 * time.Millisecond)
	}
}

// see waits until a text stands on the page.
func (w *tab) see(text string) {
	w.t.Helper()
	q, _ := json.Marshal(text)
	w.wait("document.readyState === 'complete' && document.body.innerText.toLowerCase().includes(" + string(q) + ".toLowerCase())")
}

// at waits until the address ends in a path.
func (w *tab) at(path string) {
	w.t.Helper()
	q, _ := json.Marshal(path)
	w.wait("document.readyState === 'complete' && new RegExp(" + string(q) + ").test(location.pathname + location.search)")
}

func (w *tab) click(css string) {
	w.t.Helper()
	w.wait("document.querySelector(" + quote(css) + ")")
	w.must(chromedp.Do(w.ctx, chromedp.ScrollIntoView(chromedp.CSS(css))), "scroll to "+css)
	w.rest(css)
	w.must(chromedp.Do(w.ctx, chromedp.Click(chromedp.CSS(css), chromedp.NodeVisible)), "click "+css)
}

// rest waits until an element keeps its place: a click goes to a place, and the page
// may still be on its way to the anchor of its address. It asks from outside, as a
// page that is not in front paints no frames.
func (w *tab) rest(css string) {
	w.t.Helper()
	was, still := math.NaN(), 0
	for until := time.Now().Add(patience); still < 4; {
		y, err := chromedp.Run(w.ctx, chromedp.Evaluate[float64]("document.querySelector("+quote(css)+")?.getBoundingClientRect().y ?? -1e9"))
		if err == nil && y == was && y != -1e9 {
			still++
		} else {
			still = 0
		}
		was = y
		if time.Now().After(until) {
			w.must(fmt.Errorf("never at rest (%v)", err), "wait for "+css)
		}
		time.Sleep(25 * time.Millisecond)
	}
}

func (w *tab) fill(css, text string) {
	w.t.Helper()
	w.wait("document.querySelector(" + quote(css) + ")")
	js[bool](w, "(e => { e.focus(); if (e.select) e.select(); return true })(document.querySelector("+quote(css)+"))")
	w.must(chromedp.Do(w.ctx, chromedp.SendKeys(chromedp.CSS(css), text)), "type into "+css)
}

// choose sets a select's value.
func (w *tab) choose(css, value string) {
	w.t.Helper()
	js[bool](w, fmt.Sprintf("(e => { e.value = %s; e.dispatchEvent(new Event('change', {bubbles: true})); return e.value === %s })(document.querySelector(%s))", quote(value), quote(value), quote(css)))
}

func (w *tab) upload(css string, paths ...string) {
	w.t.Helper()
	w.must(chromedp.Do(w.ctx, chromedp.SetUploadFiles(chromedp.CSS(css), paths)), "choose a file in "+css)
}

// theme shows pages as a device would that asks for it.
func (w *tab) theme(name string) {
	w.t.Helper()
	_, err := chromedp.Run(w.ctx, func(ctx context.Context, t *chromedp.Target) (struct{}, error) {
		_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}}})
		return struct{}{}, err
	})
	w.must(err, "theme "+name)
}

// shot keeps a picture of the whole page under the artefacts' folder, where one
// is wanted.
func (w *tab) shot(name string) {
	dir := os.Getenv("CORNERWRIGHT_SHOTS")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(w.ctx, chromedp.FullScreenshot(100))
	if err == nil {
		err = os.MkdirAll(dir, 0o755)
	}
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644)
	}
	if err != nil {
		w.t.Errorf("picture %s: %v", name, err)
	}
}

func quote(s string) string { q, _ := json.Marshal(s); return string(q) }
