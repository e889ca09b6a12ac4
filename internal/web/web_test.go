package web

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"

	"cornerwright/internal/book"
	"cornerwright/internal/demo"
	"cornerwright/internal/setting"
)

// shared is one small book for all tests that only read or add.
var shared = sync.OnceValues(func() (*book.Book, error) {
	dir, err := os.MkdirTemp("", "web")
	if err != nil {
		return nil, err
	}
	b, err := book.Create(filepath.Join(dir, "book"))
	if err != nil {
		return nil, err
	}
	day := demo.Day(1)
	if _, err := b.AddBike("heron.toml", day.Bike); err != nil {
		return nil, err
	}
	for _, i := range []int{0, 2} {
		var w bytes.Buffer
		if err := day.Runs[i].WriteText(&w); err != nil {
			return nil, err
		}
		if _, err := b.Add(context.Background(), book.AddRequest{Name: day.Runs[i].File, Data: w.Bytes(), Bike: "Heron 998", Tyre: "set 1, warm", Weather: "dry"}); err != nil {
			return nil, err
		}
	}
	k, err := b.Bike("Heron 998")
	if err != nil {
		return nil, err
	}
	st := setting.Step{Bike: "Heron 998", Slot: "B", Setting: "engine-brake", Run: 1, Reason: "<b>more</b> drag in second",
		Cells: []setting.Cell{{Column: 1, Old: k.Bike.First["B"]["engine-brake"][0][1], New: k.Bike.First["B"]["engine-brake"][0][1] + 5}}, Primary: setting.Primary{Turn: 1, Measure: "segment", Expect: "less", Matters: 0.05}}
	if _, err := b.NewStep(context.Background(), st, book.StepOptions{Author: "test", Conditions: book.Conditions{Surface: "dry", Tyre: "warm", Air: "22 C, no wind"}}); err != nil {
		return nil, err
	}
	return b, nil
})

func open(t *testing.T) *httptest.Server {
	t.Helper()
	b, err := shared()
	if err != nil {
		t.Fatal(err)
	}
	h, err := New(b, Options{})
	if err != nil {
		t.Fatal(err)
	}
	s := httptest.NewServer(h)
	t.Cleanup(s.Close)
	return s
}

func get(t *testing.T, u string) (int, string) {
	t.Helper()
	r, err := http.Get(u)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	b, _ := io.ReadAll(r.Body)
	return r.StatusCode, string(b)
}

func TestPagesSayWhatTheyShould(t *testing.T) {
	s := open(t)
	for _, c := range []struct {
		path string
		code int
		want []string
	}{
		{"/", 200, []string{"Runs", "Heron 998", "engine-brake"}},
		{"/run/1", 200, []string{"What the rider said", "<svg", "1:3", "Map of ", "Say something", "never writes to a bike", "Closed circuit"}},
		{"/run/1/turn/10", 200, []string{"Turn strip", "median lap", "Every lap"}},
		{"/step/1", 200, []string{"&lt;b&gt;more&lt;/b&gt;", "Guards", "Rehearsal", "Before anything is changed", "Where it acts"}},
		{"/step/1/sheet.html", 200, []string{"engine-brake"}},
		{"/run/99", 404, []string{"That did not work"}},
		{"/run/1/turn/77", 404, []string{"no turn 77"}},
		{"/step/nine", 404, nil},
		{"/add", 200, []string{"Add a recording", "multipart/form-data"}},
		{"/nothing", 404, nil},
	} {
		code, body := get(t, s.URL+c.path)
		if code != c.code {
			t.Errorf("%s: status %d, want %d: %.300s", c.path, code, c.code, body)
		}
		for _, w := range c.want {
			if !strings.Contains(body, w) {
				t.Errorf("%s does not say %q", c.path, w)
			}
		}
		if strings.Contains(body, "<b>more") || strings.Contains(body, "ZgotmplZ") {
			t.Errorf("%s: markup slipped through", c.path)
		}
	}
	for _, p := range []string{"/step/1/sheet.pdf", "/run/1/debrief.pdf?size=Letter"} {
		if code, body := get(t, s.URL+p); code != 200 || !strings.HasPrefix(body, "%PDF-") {
			t.Errorf("%s: status %d, %.20q", p, code, body)
		}
	}
}

var token = regexp.MustCompile(`name="token" value="([0-9a-f]+)"`)

func TestRemarkThroughTheForm(t *testing.T) {
	s := open(t)
	_, body := get(t, s.URL+"/run/1")
	key := token.FindStringSubmatch(body)
	if key == nil {
		t.Fatal("the form has no token")
	}
	post := func(v url.Values) (int, string) {
		r, err := http.PostForm(s.URL+"/run/1/remark", v)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		b, _ := io.ReadAll(r.Body)
		return r.StatusCode, string(b)
	}
	if code, _ := post(url.Values{"words": {"into 7 it pushes me on"}}); code != http.StatusForbidden {
		t.Errorf("without the token: %d", code)
	}
	code, body := post(url.Values{"token": {key[1]}, "words": {"out of ten it holds me back at full lean"}, "rider": {"Ada <i>"}})
	if code != 200 || !strings.Contains(body, "out of ten it holds me back at full lean") || strings.Contains(body, "Ada <i>") {
		t.Errorf("remark: %d", code)
	}
	code, body = post(url.Values{"token": {key[1]}, "words": {"it is nervous"}})
	if code != 422 || !strings.Contains(body, "it is nervous") {
		t.Errorf("an ambiguous word must be asked back and kept: %d", code)
	}
	code, body = post(url.Values{"token": {key[1]}, "says": {"held-back"}, "turn": {"44"}, "words": {"kept"}})
	if code != 422 || !strings.Contains(body, "kept") {
		t.Errorf("a turn that does not exist: %d", code)
	}
}
