package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"crypto/tls"
	"fmt"
	"io"
	"mime/multipart"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"cornerwright/internal/book"
)

func TestServeRefusesOtherAddresses(t *testing.T) {
	b := aBook(t)
	alone := aSite(t, b, Options{})
	for _, addr := range []string{"0.0.0.0:0", ":0", "[::]:0", "192.0.2.1:0", "example.org:80", "no port"} {
		if err := Serve(context.Background(), addr, alone.server, nil); err == nil {
			t.Errorf("served at %q without sharing", addr)
		}
	}
	if err := Serve(context.Background(), "127.0.0.1:0", http.NotFoundHandler(), nil); err == nil {
		t.Error("served a handler that is not guarded")
	}
	r := aServer(t, b, Options{})
	if !strings.HasPrefix(r.Address, "http://127.0.0.1:") || r.Code != "" || r.Phones != "" || r.Fingerprint != "" {
		t.Errorf("welcome %+v", r.Welcome)
	}
	if err := r.stop(); err != nil {
		t.Error(err)
	}
}

func TestEncryption(t *testing.T) {
	r := aServer(t, aBook(t), Options{Share: true, TLS: true})
	var print string
	c := &http.Client{Transport: &http.Transport{ForceAttemptHTTP2: true, TLSClientConfig: &tls.Config{InsecureSkipVerify: true, VerifyConnection: func(cs tls.ConnectionState) error {
		sum := sha256.Sum256(cs.PeerCertificates[0].Raw)
		print = strings.ToUpper(strings.TrimSuffix(fmt.Sprintf("% x", sum), ":"))
		return cs.PeerCertificates[0].VerifyHostname("127.0.0.1")
	}}}}
	a, err := c.Get(r.base + "/share")
	if err != nil {
		t.Fatal(err)
	}
	body := text(t, a)
	if strings.ReplaceAll(print, " ", ":") != r.Fingerprint || !strings.Contains(body, r.Fingerprint) {
		t.Errorf("fingerprint %s, told %s", print, r.Fingerprint)
	}
	if a.ProtoMajor != 2 {
		t.Errorf("protocol %s", a.Proto)
	}
	if _, err := (&http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true, MaxVersion: tls.VersionTLS11}}}).Get(r.base); err == nil {
		t.Error("an outdated TLS was spoken")
	}
	plain, err := http.Get(strings.Replace(r.base, "https", "http", 1))
	if err != nil {
		t.Fatal(err)
	}
	if plain.Body.Close(); plain.StatusCode != http.StatusBadRequest {
		t.Errorf("without encryption: %d", plain.StatusCode)
	}
	// Events arrive over it too.
	ev := listenTo(t, c, r.base+"/events?after=0", "")
	if e := ev.next(t); e.id == 0 {
		t.Error("no event over the encrypted connection")
	}
	ev.close()
}

// Clients that send or take byte by byte are let go.
func TestSlowClients(t *testing.T) {
	t.Parallel()
	r := aServer(t, aBook(t), Options{})
	addr := strings.TrimPrefix(r.base, "http://")
	c, err := net.Dial("tcp", addr)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprintf(c, "GET / HTTP/1.1\r\nHost: %s\r\nX-Slow: ", addr)
	closed := make(chan error, 1)
	go func() {
		_, err := io.Copy(io.Discard, c)
		closed <- err
	}()
	tick := time.NewTicker(200 * time.Millisecond)
	defer tick.Stop()
	end := time.After(20 * time.Second)
	for {
		select {
		case <-closed:
			return
		case <-tick.C:
			c.Write([]byte("x")) //nolint:errcheck // it may have been closed: that is the point
		case <-end:
			t.Fatal("a client that sends its header letter by letter is still served after 20 s")
		}
	}
}

// Nobody takes all connections.
func TestConnectionsAreBounded(t *testing.T) {
	l := &limited{Listener: &fakeListener{addr: "192.0.2.9"}, from: map[string]int{}}
	var open []net.Conn
	for range maxFromOne {
		c, err := l.Accept()
		if err != nil {
			t.Fatal(err)
		}
		open = append(open, c)
	}
	f := l.Listener.(*fakeListener)
	f.end = f.n + 5
	if _, err := l.Accept(); err == nil {
		t.Error("one more connection from one machine was taken")
	}
	open[0].Close()
	open[0].Close() // counted once
	f.end = 0
	if c, err := l.Accept(); err != nil || l.from["192.0.2.9"] != maxFromOne {
		t.Errorf("after one was closed: %v, %v, %d", c, err, l.from["192.0.2.9"])
	}
}

type fakeListener struct {
	addr   string
	n, end int
}

func (f *fakeListener) Accept() (net.Conn, error) {
	if f.n++; f.end > 0 && f.n > f.end {
		return nil, net.ErrClosed
	}
	return fakeConn{addr: &net.TCPAddr{IP: net.ParseIP(f.addr), Port: f.n}}, nil
}

func (f *fakeListener) Close() error { return nil }

func (f *fakeListener) Addr() net.Addr { return &net.TCPAddr{} }

type fakeConn struct {
	net.Conn
	addr net.Addr
}

func (c fakeConn) RemoteAddr() net.Addr { return c.addr }

func (c fakeConn) Close() error { return nil }

// Stopping: an upload in hand is finished, streams end, nothing new is taken.
func TestStopFinishesWhatIsInHand(t *testing.T) {
	b := aBook(t)
	r := aServer(t, b, Options{Share: true})
	ev := listenTo(t, http.DefaultClient, r.base+"/events", "")
	body, kind := uploadBody(t, r.site, smallRun(91))
	half := len(body) / 2
	pr, pw := io.Pipe()
	req, _ := http.NewRequest("POST", r.base+"/add", pr)
	req.Header.Set("Content-Type", kind)
	answer := make(chan *http.Response, 1)
	go func() {
		c := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
		a, err := c.Do(req)
		if err != nil {
			t.Error(err)
		}
		answer <- a
	}()
	pw.Write(body[:half])
	waitFor(t, "the upload to be in hand", func() bool { return Uploads(r.server) == 1 })
	stopped := make(chan error, 1)
	go func() { stopped <- r.stop() }()
	if !ev.ended(t) {
		t.Error("the stream did not end")
	}
	waitFor(t, "new requests to be refused", func() bool {
		a, err := http.Get(r.base + "/you")
		if err != nil {
			return true // it does not even listen any more
		}
		defer a.Body.Close()
		return a.StatusCode == http.StatusServiceUnavailable
	})
	pw.Write(body[half:])
	pw.Close()
	a := <-answer
	if a == nil || a.StatusCode != http.StatusSeeOther {
		t.Fatalf("the upload was answered %v", a)
	}
	a.Body.Close()
	if err := <-stopped; err != nil {
		t.Error(err)
	}
	if runs, err := b.Runs(book.RunFilter{}); err != nil || len(runs) != 3 {
		t.Errorf("%d runs, %v", len(runs), err)
	}
}

// An upload that does not end in time is refused plainly, and nothing of it is
// in the book.
func TestStopRefusesWhatTakesTooLong(t *testing.T) {
	was := finishTime
	finishTime = 300 * time.Millisecond
	defer func() { finishTime = was }()
	b := aBook(t)
	r := aServer(t, b, Options{Share: true})
	body, kind := uploadBody(t, r.site, smallRun(92))
	addr := strings.TrimPrefix(r.base, "http://")
	c, err := net.Dial("tcp", addr)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprintf(c, "POST /add HTTP/1.1\r\nHost: %s\r\nContent-Type: %s\r\nContent-Length: %d\r\nAccept: text/html\r\n\r\n", addr, kind, len(body))
	c.Write(body[:len(body)/2])
	waitFor(t, "the upload to be in hand", func() bool { return Uploads(r.server) == 1 })
	if err := r.stop(); err != nil {
		t.Error(err)
	}
	got, _ := io.ReadAll(c)
	if !strings.HasPrefix(string(got), "HTTP/1.1 503") || !strings.Contains(string(got), "being stopped") {
		t.Errorf("answered %.300s", got)
	}
	if runs, err := b.Runs(book.RunFilter{}); err != nil || len(runs) != 2 {
		t.Errorf("%d runs, %v", len(runs), err)
	}
}

func uploadBody(t *testing.T, s *site, data []byte) ([]byte, string) {
	t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	m.WriteField("token", s.crew.token())
	m.WriteField("bike", "Heron 998")
	f, err := m.CreateFormFile("recording", "late.csv")
	if err != nil {
		t.Fatal(err)
	}
	f.Write(data)
	m.Close()
	return b.Bytes(), m.FormDataContentType()
}

func waitFor(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatalf("waited in vain for %s", what)
}
