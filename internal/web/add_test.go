package web

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"cornerwright/internal/book"
	"cornerwright/internal/demo"
)

// A watched folder: what the book holds is told apart from what is new and from
// what is no recording; a file that still grows waits; other files are left alone.
func TestWatchedFolder(t *testing.T) {
	b, err := shared()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	write := func(name string, data []byte) {
		t.Helper()
		if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	day := demo.Day(1)
	var known bytes.Buffer
	if err := day.Runs[0].WriteText(&known); err != nil {
		t.Fatal(err)
	}
	write("stick/"+day.Runs[0].File, known.Bytes())
	write("notes.txt", []byte("ring the tyre man\nbefore noon\n"))
	write("photo.jpg", []byte("not for us"))
	write(".hidden.csv", []byte("a,b\n1,2\n"))
	w := &watcher{root: dir, req: book.AddRequest{Bike: "Heron 998"}, seen: map[string]glimpse{}, done: map[string]glimpse{}}
	w.round(context.Background(), b)
	if n := len(w.page().Items); n != 0 {
		t.Fatalf("%d files were taken before they stood still", n)
	}
	write("notes.txt", []byte("ring the tyre man\nbefore noon, and the other one\n")) // still being written
	w.round(context.Background(), b)
	state := func() map[string]watched {
		out := map[string]watched{}
		for _, i := range w.page().Items {
			out[i.Name] = i
		}
		return out
	}
	got := state()
	if i := got[day.Runs[0].File]; i.State != "known" || i.Run != 1 || len(got) != 1 {
		t.Fatalf("a recording that the book holds: %+v of %d", i, len(got))
	}
	w.round(context.Background(), b)
	if i := state()["notes.txt"]; i.State != "failed" || i.Trouble == "" || i.Mend == "" {
		t.Errorf("a file that is no recording: %+v", i)
	}
	w.round(context.Background(), b)
	if n := len(w.page().Items); n != 2 {
		t.Errorf("%d files were taken, want 2, each once", n)
	}
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	w.round(context.Background(), b)
	if f := w.page().Fault; !strings.Contains(f.String(), "cannot be read") {
		t.Errorf("a folder that is gone: %q", f)
	}
}

// A stick that is pulled while its file is read: the page says so, and takes it
// when it is back.
func TestStickPulled(t *testing.T) {
	b, err := shared()
	if err != nil {
		t.Fatal(err)
	}
	w := &watcher{root: t.TempDir(), req: book.AddRequest{Bike: "Heron 998"}, seen: map[string]glimpse{}, done: map[string]glimpse{}}
	gone := filepath.Join(w.root, "run9.csv")
	w.take(context.Background(), b, gone, glimpse{size: 9})
	i := w.page().Items
	if len(i) != 1 || i[0].State != "gone" || !strings.Contains(i[0].Mend.String(), "put the stick back") {
		t.Fatalf("%+v", i)
	}
	if _, taken := w.done[gone]; taken {
		t.Error("it would not be read again")
	}
}

// upload posts a file to the adding page as its script does.
func upload(t *testing.T, s *httptest.Server, name string, body io.Reader, length int64) (int, map[string]any) {
	t.Helper()
	_, page := get(t, s.URL+"/add")
	key := token.FindStringSubmatch(page)
	if key == nil {
		t.Fatal("the form has no token")
	}
	var head bytes.Buffer
	m := multipart.NewWriter(&head)
	for k, v := range map[string]string{"token": key[1], "bike": "Heron 998"} {
		if err := m.WriteField(k, v); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := m.CreateFormFile("recording", name); err != nil {
		t.Fatal(err)
	}
	tail := strings.NewReader("\r\n--" + m.Boundary() + "--\r\n")
	r, err := http.NewRequest("POST", s.URL+"/add", io.MultiReader(bytes.NewReader(head.Bytes()), body, tail))
	if err != nil {
		t.Fatal(err)
	}
	if length > 0 {
		r.ContentLength = length
	}
	r.Header.Set("Content-Type", m.FormDataContentType())
	r.Header.Set("Accept", "application/json")
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		return 0, map[string]any{"trouble": err.Error()}
	}
	defer a.Body.Close()
	out := map[string]any{}
	json.NewDecoder(a.Body).Decode(&out) //nolint:errcheck // an answer that is none fails below
	return a.StatusCode, out
}

func TestWrongFilesAreExplained(t *testing.T) {
	s := open(t)
	code, got := upload(t, s, "photo.csv", bytes.NewReader([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR")), 0)
	if code != http.StatusUnprocessableEntity || got["trouble"] == "" || got["mend"] == "" {
		t.Errorf("a picture: %d %v", code, got)
	}
	code, got = upload(t, s, "empty.csv", strings.NewReader(""), 0)
	if code != http.StatusUnprocessableEntity || got["trouble"] == "" {
		t.Errorf("an empty file: %d %v", code, got)
	}
}

// endless gives zeros as long as they are asked for.
type endless struct{}

func (endless) Read(p []byte) (int, error) {
	clear(p)
	return len(p), nil
}

// A file that says that it is larger than what is taken is refused before it is
// sent; the transport may break the line instead of reading the answer.
func TestHugeFileIsRefusedAtOnce(t *testing.T) {
	s := open(t)
	const size = 3 << 30
	pulled := &counter{r: io.LimitReader(endless{}, size)}
	code, got := upload(t, s, "huge.csv", pulled, size)
	if code != 0 && (code != http.StatusUnprocessableEntity || !strings.Contains(got["trouble"].(string), "larger than")) {
		t.Errorf("%d %v", code, got)
	}
	if n := pulled.n.Load(); n > 64<<20 { // the transport may still be reading
		t.Errorf("%d MiB were taken before it was refused", n>>20)
	}
}

type counter struct {
	r io.Reader
	n atomic.Int64
}

func (c *counter) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n.Add(int64(n))
	return n, err
}
