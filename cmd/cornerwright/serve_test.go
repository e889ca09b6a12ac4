package main

import (
	"bytes"
	"context"
	"crypto/tls"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"cornerwright/internal/book"
)

// told is an output that others read while it is written.
type told struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (t *told) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.b.Write(p)
}

func (t *told) String() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.b.String()
}

// serve --share says where phones join, with a code to scan; it logs what was
// asked, never the code, and stops when told to.
func TestServe(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "book")
	b, err := book.Create(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	log := filepath.Join(t.TempDir(), "log.json")
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	var out, talk told
	done := make(chan int, 1)
	go func() {
		done <- run(ctx, []string{"serve", "--book", dir, "--share", "--tls", "--listen", "127.0.0.1:0", "--log-file", log}, strings.NewReader(""), &out, &talk, func(string) string { return "" })
	}()
	address := regexp.MustCompile(`https://127\.0\.0\.1:\d+/`)
	for end := time.Now().Add(time.Minute); !strings.Contains(out.String(), "new codes"); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("it does not say where it serves: %s%s", &out, &talk)
		}
	}
	at := address.FindString(out.String())
	if at == "" || !regexp.MustCompile(`SHA-256: ([0-9A-F]{2}:){31}[0-9A-F]{2}`).MatchString(out.String()) || !strings.Contains(out.String(), "no phone can reach this address") {
		t.Errorf("it says:\n%s", &out)
	}
	c := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}}
	r, err := c.Get(at + "status")
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if r.StatusCode != http.StatusOK {
		t.Errorf("status page: %d", r.StatusCode)
	}
	stop()
	select {
	case code := <-done:
		if code != 0 || !strings.Contains(talk.String(), "stopped") {
			t.Errorf("exit %d: %s", code, &talk)
		}
	case <-time.After(time.Minute):
		t.Fatal("it does not stop")
	}
	l, err := os.ReadFile(log)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"msg":"serving"`, `"path":"/status"`, `"role":"crew"`, `"msg":"stopping"`} {
		if !strings.Contains(string(l), want) {
			t.Errorf("the log lacks %s:\n%s", want, l)
		}
	}
	// The loopback is the default, and all that is answered without --share.
	for _, addr := range []string{"0.0.0.0:0", ":0"} {
		var out, talk told
		if code := run(context.Background(), []string{"serve", "--book", dir, "--listen", addr}, strings.NewReader(""), &out, &talk, func(string) string { return "" }); code == 0 || !strings.Contains(talk.String(), "--share") {
			t.Errorf("served at %s without --share: %d %s", addr, code, &talk)
		}
	}
}
