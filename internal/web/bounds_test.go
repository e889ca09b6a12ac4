package web

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

// sendFile posts one file with fields, as crew.
func (s *site) sendFile(path, key, name string, data []byte, more url.Values) *httptest.ResponseRecorder {
	s.t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	for k, v := range more {
		m.WriteField(k, v[0])
	}
	m.WriteField("token", s.crew.token())
	f, err := m.CreateFormFile(key, name)
	if err != nil {
		s.t.Fatal(err)
	}
	f.Write(data)
	m.Close()
	r := httptest.NewRequest("POST", "http://127.0.0.1:8765"+path, &b)
	r.Header.Set("Content-Type", m.FormDataContentType())
	r.Header.Set("Origin", "http://127.0.0.1:8765")
	return s.crew.do(r)
}

// Names of files, paths and addresses never lead out of the book's folder.
func TestPathsStayInside(t *testing.T) {
	b := aBook(t)
	s := aSite(t, b)
	secret := filepath.Join(filepath.Dir(b.Dir()), "secret.txt")
	if err := os.WriteFile(secret, []byte("the secret"), 0o600); err != nil {
		t.Fatal(err)
	}
	before := tree(t, filepath.Dir(b.Dir()), b.Dir())
	for _, p := range []string{
		"/assets/../../secret.txt", "/assets/..%2f..%2fsecret.txt", "/assets/%2e%2e/%2e%2e/secret.txt", "/assets/..%5c..%5csecret.txt", "/assets//etc/passwd", "/assets/%2fetc%2fpasswd", "/assets/page.css%00.js",
		"/map/..%2f..%2f..%2fsecret.txt", "/map/" + strings.Repeat("a", 64), "/map/" + strings.Repeat("/", 64), "/bike/..%2f..%2fsecret.txt", "/circuit/..%2fbook.db", "/meeting/..%2f..%2fsecret.txt", "/run/..%2f..%2fsecret.txt", "/phone/..%2f..", "/run/1/turn/..%2f..", "/step/..%2f1/sheet.pdf", "/../secret.txt", "/..%2fsecret.txt",
		"/run/1/debrief.pdf?size=../../secret.txt", "/add/progress/..%2f..",
	} {
		m := "GET"
		if strings.HasPrefix(p, "/add/progress") {
			m = "HEAD"
		}
		w := s.crew.do(httptest.NewRequest(m, "http://127.0.0.1:8765"+p, nil))
		if strings.Contains(w.Body.String(), "the secret") || strings.Contains(w.Body.String(), "root:") || w.Code >= 500 || w.Code == http.StatusOK && m == "GET" {
			t.Errorf("%s: %d %.100s", p, w.Code, w.Body)
		}
	}
	for _, name := range []string{"../../secret.txt", "/etc/cron.d/x", `..\..\secret.txt`, "a\x00b.csv", strings.Repeat("x", 5000) + ".csv", "con.csv", "-rf.csv", ""} {
		if w := s.sendFile("/add", "recording", name, []byte("time,speed\n1,2\n"+name), url.Values{"bike": {"Heron 998"}}); w.Code >= 500 {
			t.Errorf("file named %.40q: %d %.200s", name, w.Code, w.Body)
		}
		if w := s.sendFile("/bikes", "file", name, []byte("name = 3"), nil); w.Code >= 500 {
			t.Errorf("bike file named %.40q: %d", name, w.Code)
		}
	}
	if after := tree(t, filepath.Dir(b.Dir()), b.Dir()); after != before {
		t.Errorf("something was written beside the book:\n%s\nbefore:\n%s", after, before)
	}
}

// tree lists a folder with sizes, but for one folder in it.
func tree(t *testing.T, dir, but string) string {
	t.Helper()
	var b strings.Builder
	err := filepath.Walk(dir, func(p string, i os.FileInfo, err error) error {
		if err != nil {
			return err
		}
		if p == but {
			return filepath.SkipDir
		}
		if !i.IsDir() {
			fmt.Fprintln(&b, p, i.Size())
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// zeros is a stream of n zero bytes.
func zeros(n int64) io.Reader { return io.LimitReader(zeroReader{}, n) }

type zeroReader struct{}

func (zeroReader) Read(p []byte) (int, error) { clear(p); return len(p), nil }

// A small file that unpacks to a thousand times its size is refused before it
// takes the memory.
func TestBombs(t *testing.T) {
	s := aSite(t, aBook(t))
	var gz, nested, zipped bytes.Buffer
	g := gzip.NewWriter(&gz)
	io.Copy(g, zeros(256<<20))
	g.Close()
	g = gzip.NewWriter(&nested)
	g.Write(gz.Bytes())
	g.Close()
	z := zip.NewWriter(&zipped)
	for i := range 3 {
		f, _ := z.Create(fmt.Sprintf("run%d.csv", i))
		io.Copy(f, zeros(100<<20))
	}
	z.Close()
	for _, c := range []struct {
		name string
		data []byte
	}{{"run.csv.gz", gz.Bytes()}, {"run.csv.gz.gz", nested.Bytes()}, {"runs.zip", zipped.Bytes()}} {
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		w := s.sendFile("/add", "recording", c.name, c.data, url.Values{"bike": {"Heron 998"}})
		runtime.ReadMemStats(&after)
		if w.Code != http.StatusUnprocessableEntity {
			t.Errorf("%s of %d bytes: %d %.300s", c.name, len(c.data), w.Code, w.Body)
		}
		if got := after.TotalAlloc - before.TotalAlloc; got > 200<<20 {
			t.Errorf("%s of %d bytes took %d MB", c.name, len(c.data), got>>20)
		}
	}
}

// Forms and files are bounded; what is too large is answered, not cut off.
func TestLimits(t *testing.T) {
	s := aSite(t, aBook(t))
	path := paths(t, s)
	big := "words=" + strings.Repeat("x", 3*maxForm) + "&token=" + s.crew.token()
	for _, r := range s.routes() {
		if !strings.HasPrefix(r.pattern, "POST ") {
			continue
		}
		for _, kind := range []string{"application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/json", ""} {
			req := httptest.NewRequest("POST", "http://127.0.0.1:8765"+path[r.pattern], strings.NewReader(big))
			if kind != "" {
				req.Header.Set("Content-Type", kind)
			}
			w := s.crew.do(req)
			if w.Code < 400 || w.Code >= 500 {
				t.Errorf("%s with a form of %d bytes as %q: %d", r.pattern, len(big), kind, w.Code)
			}
		}
	}
	w := s.sendFile("/bikes", "file", "bike.toml", bytes.Repeat([]byte("# x\n"), 1<<19), nil)
	if w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "larger than") {
		t.Errorf("a bike file of 2 MiB: %d", w.Code)
	}
	long := s.rider.sign("/run/1/remark", url.Values{"words": {strings.Repeat("into 3 it pushes me on, ", 500)}})
	if long.Code != http.StatusUnprocessableEntity {
		t.Errorf("a remark of 12 kB: %d", long.Code)
	}
}

// One session cannot flood the book.
func TestASessionIsBounded(t *testing.T) {
	s := aSite(t, aBook(t))
	now := time.Now()
	s.door.now = func() time.Time { return now }
	form := url.Values{"token": {s.rider.token()}, "words": {"into 3 it pushes me on"}, "key": {"k"}}
	taken := 0
	for range 60 {
		switch w := s.rider.post("/run/1/remark", form); w.Code {
		case http.StatusSeeOther:
			taken++
		case http.StatusTooManyRequests:
			if w.Header().Get("Retry-After") == "" {
				t.Fatal("no word when to try again")
			}
		default:
			t.Fatalf("%d", w.Code)
		}
	}
	if taken != 20 {
		t.Errorf("%d of 60 at once were taken", taken)
	}
	now = now.Add(3 * time.Second)
	for i := range 4 {
		if w := s.rider.post("/run/1/remark", form); (w.Code == http.StatusSeeOther) != (i < 3) {
			t.Errorf("three seconds later, number %d: %d", i, w.Code)
		}
	}
	if w := s.crew.sign("/run/1/remark", form); w.Code != http.StatusSeeOther {
		t.Errorf("the crew is held up by a rider: %d", w.Code)
	}
}

func TestPanicsStayInTheirRequest(t *testing.T) {
	s := aSite(t, aBook(t))
	l := &logged{}
	s.log = l.logger()
	h := s.guard(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/late" {
			io.WriteString(w, "half a page")
			http.NewResponseController(w).Flush()
		}
		panic("boom")
	}))
	srv := httptest.NewServer(h)
	defer srv.Close()
	r, err := http.Get(srv.URL + "/early?code=SECRET")
	if err != nil {
		t.Fatal(err)
	}
	if body := text(t, r); r.StatusCode != 500 || strings.Contains(body, "boom") || strings.Contains(body, "goroutine") {
		t.Errorf("%d %s", r.StatusCode, body)
	}
	if r, err = http.Get(srv.URL + "/late"); err == nil {
		defer r.Body.Close()
		if _, err = io.ReadAll(r.Body); err == nil {
			t.Error("half a page looked whole")
		}
	}
	if r, err = http.Get(srv.URL + "/early"); err != nil || r.StatusCode != 500 {
		t.Errorf("the server answers no more: %v", err)
	} else {
		r.Body.Close()
	}
	if g := s.gauge.now(); g.Panics != 3 || !strings.Contains(l.String(), "boom") || !strings.Contains(l.String(), "bounds_test.go") || strings.Contains(l.String(), "SECRET") {
		t.Errorf("gauge %+v, log %.300s", g, l)
	}
}
