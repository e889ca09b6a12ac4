package web

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"html"
	"io"
	"io/fs"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/debrief"
	"cornerwright/internal/demo"
	"cornerwright/internal/setting"
)

// full tells whether the long versions of the studies run.
func full() bool { return os.Getenv("CORNERWRIGHT_FULL") == "1" }

// made is a closed book in a folder of its own, filled.
func made(folder string, fill func(b *book.Book) error) (string, error) {
	dir, err := os.MkdirTemp("", folder)
	if err != nil {
		return "", err
	}
	dir = filepath.Join(dir, "book")
	b, err := book.Create(dir)
	if err != nil {
		return "", err
	}
	return dir, errors.Join(fill(b), b.Close())
}

// small is a closed book with a bike, two short runs, a remark and a step that
// was loaded before the second; made once, copied by tests that change it.
var small = sync.OnceValues(func() (string, error) { return made("web-small-", fillSmall) })

func fillSmall(b *book.Book) error {
	k := demo.Heron()
	if _, err := b.AddBike("heron.toml", k.TOML(map[string]demo.Sheet{"A": k.Sheets["A"], "B": k.Sheets["A"].Clone()})); err != nil {
		return err
	}
	ctx := context.Background()
	for i := range 2 {
		if _, err := b.Add(ctx, book.AddRequest{Name: fmt.Sprintf("run-%d.csv", i+1), Data: smallRun(uint64(i) + 5), Tyre: "set 1, warm", Weather: "dry"}); err != nil {
			return err
		}
		if i > 0 {
			break
		}
		if _, err := b.AddRemark(debrief.Remark{Run: 1, Turns: []int{3}, Phase: circuit.PhaseEntry, Says: "pushes-on", Strength: 2, Words: "into three it pushes me on"}, "test", "first"); err != nil {
			return err
		}
		st := setting.Step{Bike: "Heron 998", Slot: "B", Setting: "engine-brake", Run: 1, Reason: "<b>more</b> drag in second", Primary: setting.Primary{Turn: 3, Measure: "segment", Expect: "less", Matters: 0.05}}
		sheet, err := b.CurrentSheet("Heron 998")
		if err != nil {
			return err
		}
		old := sheet.Values("B", "engine-brake")[0][1]
		st.Cells = []setting.Cell{{Column: 1, Old: old, New: old + 5}}
		got, err := b.NewStep(ctx, st, book.StepOptions{Author: "test", Conditions: book.Conditions{Surface: "dry", Tyre: "warm", Air: "22 C, no wind"}})
		if err != nil {
			return err
		}
		if _, err := b.SetStepState(got.ID, book.Proposed, book.Loaded, "test", "", 0); err != nil {
			return err
		}
	}
	return nil
}

// smallRun is a recording of a few laps as text.
func smallRun(seed uint64) []byte {
	o := demo.DefaultOptions(0, seed)
	o.Laps, o.RateHz = 3, 50
	o.Slots = []string{"A", "A", "B", "B", "A"}
	var w bytes.Buffer
	if err := demo.Ride(o).WriteText(&w, demo.Plain); err != nil {
		panic(err)
	}
	return w.Bytes()
}

// aBook opens a copy of the small book.
func aBook(t testing.TB) *book.Book {
	t.Helper()
	from, err := small()
	if err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), "book")
	err = filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.Name() == "lock" {
			return err
		}
		rel, _ := filepath.Rel(from, path)
		if d.IsDir() {
			return os.MkdirAll(filepath.Join(to, rel), 0o755)
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		return os.WriteFile(filepath.Join(to, rel), data, 0o644)
	})
	if err != nil {
		t.Fatal(err)
	}
	b, err := book.Open(to)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

// site is a server under test with a person for each role.
type site struct {
	*server
	t                   testing.TB
	nobody, rider, crew *person
}

// aSite serves a book, shared unless the options are given.
func aSite(t testing.TB, b *book.Book, o ...Options) *site {
	t.Helper()
	opt := Options{Share: true}
	if len(o) > 0 {
		opt = o[0]
	}
	h, err := New(b, opt)
	if err != nil {
		t.Fatal(err)
	}
	s := &site{server: h.(*server), t: t}
	s.nobody = &person{site: s, from: "192.0.2.7:40000"}
	s.rider = s.enter(Rider, "Ada")
	s.crew = &person{site: s, from: "127.0.0.1:40000"}
	return s
}

// person is a client: an address, and the cookies it was given.
type person struct {
	site    *site
	from    string
	cookies []*http.Cookie
}

// enter pairs a new person.
func (s *site) enter(role Role, name string) *person {
	s.t.Helper()
	p := &person{site: s, from: "192.0.2.8:40000"}
	code := s.door.invite(role).Code
	w := p.post("/join", url.Values{"code": {code}, "name": {name}})
	if w.Code != http.StatusSeeOther {
		s.t.Fatalf("joining as %s: %d %s", role, w.Code, w.Body)
	}
	return p
}

// do answers one request and keeps cookies.
func (p *person) do(r *http.Request) *httptest.ResponseRecorder {
	r.RemoteAddr = p.from
	for _, c := range p.cookies {
		r.AddCookie(c)
	}
	w := httptest.NewRecorder()
	p.site.ServeHTTP(w, r)
	for _, c := range w.Result().Cookies() {
		kept := p.cookies[:0:0]
		for _, old := range p.cookies {
			if old.Name != c.Name {
				kept = append(kept, old)
			}
		}
		if c.MaxAge >= 0 {
			kept = append(kept, &http.Cookie{Name: c.Name, Value: c.Value})
		}
		p.cookies = kept
	}
	return w
}

func (p *person) get(path string) *httptest.ResponseRecorder {
	r := httptest.NewRequest("GET", "http://127.0.0.1:8765"+path, nil)
	r.Header.Set("Accept", "text/html")
	return p.do(r)
}

// token is the one that this person's forms carry.
func (p *person) token() string {
	p.site.t.Helper()
	m := token.FindStringSubmatch(p.get("/you").Body.String())
	if m == nil {
		p.site.t.Fatal("the page /you has no token")
	}
	return m[1]
}

// post sends a form as it stands; sign adds the token.
func (p *person) post(path string, v url.Values) *httptest.ResponseRecorder {
	r := httptest.NewRequest("POST", "http://127.0.0.1:8765"+path, strings.NewReader(v.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Accept", "text/html")
	r.Header.Set("Origin", "http://127.0.0.1:8765")
	return p.do(r)
}

func (p *person) sign(path string, v url.Values) *httptest.ResponseRecorder {
	if v == nil {
		v = url.Values{}
	}
	v.Set("token", p.token())
	return p.post(path, v)
}

// running is a site behind a real socket, as Serve serves it.
type running struct {
	*site
	base string
	Welcome
	stop func() error
}

func aServer(t testing.TB, b *book.Book, o Options) *running {
	t.Helper()
	s := aSite(t, b, o)
	ctx, cancel := context.WithCancel(context.Background())
	ready, done := make(chan Welcome, 1), make(chan error, 1)
	go func() { done <- Serve(ctx, "127.0.0.1:0", s.server, func(w Welcome) { ready <- w }) }()
	r := &running{site: s}
	select {
	case r.Welcome = <-ready:
	case err := <-done:
		t.Fatal(err)
	}
	r.base = strings.TrimSuffix(r.Welcome.Address, "/")
	var once sync.Once
	var err error
	r.stop = func() error {
		once.Do(func() {
			cancel()
			select {
			case err = <-done:
			case <-time.After(time.Minute):
				err = fmt.Errorf("the server did not stop within a minute")
			}
		})
		return err
	}
	t.Cleanup(func() { r.stop() }) //nolint:errcheck // tests that care ask themselves
	return r
}

// logged is a log that a test reads.
type logged struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *logged) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *logged) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

func (l *logged) logger() *slog.Logger {
	return slog.New(slog.NewJSONHandler(l, &slog.HandlerOptions{Level: slog.LevelDebug}))
}

// text reads an answer's body and closes it.
func text(t testing.TB, r *http.Response) string {
	t.Helper()
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

var (
	href  = regexp.MustCompile(`href="([^"]*)"`)
	input = regexp.MustCompile(`<input[^>]*>`)
	attr  = regexp.MustCompile(`(name|value)="([^"]*)"`)
)

// fields are what the inputs of the page's form with this action hold.
func fields(page, action string) url.Values {
	out := url.Values{}
	_, form, _ := strings.Cut(page, `action="`+html.EscapeString(action)+`"`)
	form, _, _ = strings.Cut(form, "</form>")
	for _, in := range input.FindAllString(form, -1) {
		v := map[string]string{}
		for _, m := range attr.FindAllStringSubmatch(in, -1) {
			v[m[1]] = html.UnescapeString(m[2])
		}
		if v["name"] != "" {
			out.Add(v["name"], v["value"])
		}
	}
	return out
}
