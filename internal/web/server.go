// Package web serves the book as pages: handlers, templates and assets. Pages
// are drawn on the server and work without scripts; scripts add traces, dropping
// of files and live updates.
//
// Every route states the least role that it answers. Who sits at this machine
// is crew; others, where the crew shares, are what the pairing code made them.
package web

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"html/template"
	"io"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"net/url"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"cornerwright/internal/book"
	"cornerwright/internal/paper"
)

//go:embed pages/*.html assets/*
var assets embed.FS

// Options of the server.
type Options struct {
	Log   *slog.Logger // nil: silent
	Share bool         // answer other machines too, after pairing
	TLS   bool         // with a certificate made at the start
}

// server holds what the handlers share.
type server struct {
	book  *book.Book
	log   *slog.Logger
	pages *template.Template
	files map[string]asset
	door  *door
	share bool
	tls   bool
	began time.Time
	all   http.Handler

	streams atomic.Int64
	jobs    sync.Map // name -> *job
	once    sync.Once
	closing chan struct{}

	mu           sync.Mutex
	port, scheme string
}

// asset is one embedded file, ready to send.
type asset struct {
	kind string
	data []byte
	zip  []byte
	tag  string
}

// maxForm and maxUpload bound what a request may carry.
const (
	maxForm   = 64 << 10
	maxUpload = 2 << 30
)

// New returns the handler of all pages over a book.
func New(b *book.Book, o Options) (http.Handler, error) {
	t, err := template.New("pages").Funcs(helpers).ParseFS(assets, "pages/*.html")
	if err != nil {
		return nil, err
	}
	s := &server{book: b, log: o.Log, pages: t, files: map[string]asset{}, door: newDoor(), share: o.Share, tls: o.TLS, began: time.Now(), closing: make(chan struct{})}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	list, err := assets.ReadDir("assets")
	if err != nil {
		return nil, err
	}
	for _, f := range list {
		data, err := assets.ReadFile("assets/" + f.Name())
		if err != nil {
			return nil, err
		}
		s.keep(f.Name(), data)
	}
	s.keep("paper.css", []byte(paper.CSS))
	m := http.NewServeMux()
	for _, r := range s.routes() {
		m.Handle(r.pattern, s.admit(r))
	}
	s.all = s.guard(m)
	return s, nil
}

// ServeHTTP implements http.Handler.
func (s *server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.all.ServeHTTP(w, r) }

func (s *server) keep(name string, data []byte) {
	sum := sha256.Sum256(data)
	a := asset{data: data, zip: zipped(data), tag: `"` + hex.EncodeToString(sum[:8]) + `"`, kind: "text/css; charset=utf-8"}
	if strings.HasSuffix(name, ".js") {
		a.kind = "text/javascript; charset=utf-8"
	}
	s.files[name] = a
}

type route struct {
	pattern string
	role    Role // the least that is answered
	handler http.HandlerFunc
}

// routes are all routes there are.
func (s *server) routes() []route {
	return []route{
		{"GET /{$}", Rider, s.show(s.day)},
		{"GET /meeting/{meeting}", Rider, s.show(s.day)},
		{"GET /meeting/{meeting}/report.pdf", Rider, s.dayPDF},
		{"GET /run/{run}", Rider, s.show(s.run)},
		{"GET /run/{run}/turn/{turn}", Rider, s.show(s.turn)},
		{"GET /run/{run}/traces", Rider, s.show(s.traces)},
		{"GET /run/{run}/trace.bin", Rider, s.traceData},
		{"GET /run/{run}/debrief.pdf", Rider, s.debriefPDF},
		{"POST /run/{run}/remark", Rider, s.act(s.remark)},
		{"POST /run/{run}/lap", Crew, s.act(s.markLap)},
		{"POST /run/{run}/told", Crew, s.act(s.annotate)},
		{"POST /remark/{remark}/strike", Crew, s.act(s.strikeRemark)},
		{"GET /run/{run}/step/{ref}", Crew, s.show(s.propose)},
		{"POST /run/{run}/step/{ref}", Crew, s.act(s.takeStep)},
		{"GET /step/{step}", Rider, s.show(s.step)},
		{"POST /step/{step}/state", Crew, s.act(s.moveStep)},
		{"GET /step/{step}/sheet.html", Rider, s.sheetHTML},
		{"GET /step/{step}/sheet.pdf", Rider, s.sheetPDF},
		{"GET /step/{step}/plan", Rider, s.show(s.plan)},
		{"GET /step/{step}/verdict", Rider, s.show(s.verdict)},
		{"GET /add", Crew, s.show(s.addForm)},
		{"POST /add", Crew, s.add},
		{"GET /add/progress/{job}", Crew, s.progress},
		{"GET /map/{hash}", Crew, s.show(s.columns)},
		{"POST /map/{hash}", Crew, s.act(s.mapColumns)},
		{"GET /bikes", Rider, s.show(s.bikes)},
		{"POST /bikes", Crew, s.act(s.addBike)},
		{"GET /bike/{bike}", Rider, s.show(s.bike)},
		{"GET /circuit/{circuit}", Rider, s.show(s.circuit)},
		{"POST /circuit/{circuit}", Crew, s.act(s.editCircuit)},
		{"GET /season", Rider, s.show(s.season)},
		{"GET /status", Crew, s.show(s.status)},
		{"GET /phone", Rider, s.phoneHome},
		{"GET /phone/{run}", Rider, s.show(s.phone)},
		{"GET /you", Nobody, s.show(s.you)},
		{"POST /you", Nobody, s.act(s.saveYou)},
		{"GET /share", Crew, s.show(s.sharing)},
		{"POST /share/invite", Crew, s.act(s.invite)},
		{"POST /share/end", Crew, s.act(s.end)},
		{"GET /join", Nobody, s.show(s.joinForm)},
		{"POST /join", Nobody, s.act(s.join)},
		{"POST /leave", Rider, s.act(s.leave)},
		{"GET /events", Rider, s.events},
		{"GET /assets/{file}", Nobody, s.file},
	}
}

// admit lets a request through to a route if its role is enough.
func (s *server) admit(t route) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		role, ss := s.role(r)
		if role < t.role {
			if role == Nobody && r.Method == http.MethodGet && strings.Contains(r.Header.Get("Accept"), "text/html") {
				http.Redirect(w, r, "/join", http.StatusSeeOther)
				return
			}
			status := http.StatusForbidden
			if role == Nobody {
				status = http.StatusUnauthorized
			}
			s.render(w, r, status, page{Title: "Not for this role", Name: "failure", Body: failure{Status: status, Text: errRole.Error(), Mend: "ask the crew for a code of theirs"}})
			return
		}
		t.handler(w, r.WithContext(context.WithValue(r.Context(), whoKey{}, ss)))
	}
}

type whoKey struct{}

// token of the forms that this request's person is given.
func (s *server) token(r *http.Request) string {
	ss, _ := r.Context().Value(whoKey{}).(*session)
	return s.door.token(ss)
}

// policy allows our own files and nothing else: no inline style or script, no
// other host.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// guard stands before every route: only this machine's own names are answered,
// writes come from our own pages, a panic stays inside its request.
func (s *server) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		defer func() {
			if p := recover(); p != nil {
				if p == http.ErrAbortHandler {
					panic(p)
				}
				s.log.Error("panic", "path", r.URL.Path, "what", fmt.Sprint(p), "stack", string(debug.Stack()))
				http.Error(w, "something broke while this page was made; it is in the log", http.StatusInternalServerError)
			}
		}()
		if !s.ours(r.Host) {
			http.Error(w, "this address is not answered: open the page by the address that the program printed", http.StatusMisdirectedRequest)
			return
		}
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			if o := r.Header.Get("Origin"); o != "" {
				u, err := url.Parse(o)
				if err != nil || u.Host != r.Host {
					http.Error(w, "the form came from another page", http.StatusForbidden)
					return
				}
			}
			if site := r.Header.Get("Sec-Fetch-Site"); site != "" && site != "same-origin" {
				http.Error(w, "the form came from another page", http.StatusForbidden)
				return
			}
		}
		next.ServeHTTP(w, r)
	})
}

// local tells whether a Host header names the loopback of this machine.
func local(host string) bool {
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	name = strings.Trim(name, "[]")
	if name == "localhost" {
		return true
	}
	ip := net.ParseIP(name)
	return ip != nil && ip.IsLoopback()
}

// page is what every template is given.
type page struct {
	Title  string
	Name   string // template
	Token  string
	Body   any
	Script string // beside app.js
	Status int    // 0: as usual
	You    You
	Role   Role
	Path   string // of this page, to come back to
	Last   int64  // newest event that this page knows of
	Shared bool
}

// Crew tells whether this page's reader may change things.
func (p page) Crew() bool { return p.Role == Crew }

// show wraps a page's data function: the page is rendered to a buffer first, so
// that half a page is never sent.
func (s *server) show(f func(r *http.Request) (page, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		p, err := f(r)
		if err != nil {
			s.fail(w, r, err)
			return
		}
		s.render(w, r, http.StatusOK, p)
	}
}

func (s *server) render(w http.ResponseWriter, r *http.Request, status int, p page) {
	if p.Status != 0 {
		status = p.Status
	}
	p.Token, p.You, p.Shared = s.token(r), youOf(r), s.share
	p.Role, _ = s.role(r)
	p.Path = r.URL.RequestURI()
	if r.Method != http.MethodGet {
		p.Path = "/"
	}
	if n, err := s.book.LastEvent(); err == nil {
		p.Last = n
	}
	var b bytes.Buffer
	if err := s.pages.ExecuteTemplate(&b, p.Name, p); err != nil {
		s.log.Error("template", "path", r.URL.Path, "error", err)
		http.Error(w, "the page could not be drawn; it is in the log", http.StatusInternalServerError)
		return
	}
	s.send(w, r, status, "text/html; charset=utf-8", b.Bytes())
}

// send writes an answer, compressed where the reader takes it.
func (s *server) send(w http.ResponseWriter, r *http.Request, status int, kind string, data []byte) {
	h := w.Header()
	h.Set("Content-Type", kind)
	h.Add("Vary", "Accept-Encoding")
	if len(data) > 1400 && takesGzip(r) {
		h.Set("Content-Encoding", "gzip")
		data = zipped(data)
	}
	h.Set("Content-Length", strconv.Itoa(len(data)))
	w.WriteHeader(status)
	w.Write(data) //nolint:errcheck // the reader may have gone
}

func takesGzip(r *http.Request) bool {
	for _, v := range strings.Split(r.Header.Get("Accept-Encoding"), ",") {
		name, q, _ := strings.Cut(strings.TrimSpace(v), ";")
		if name == "gzip" && strings.ReplaceAll(q, " ", "") != "q=0" {
			return true
		}
	}
	return false
}

var zippers = sync.Pool{New: func() any { z, _ := gzip.NewWriterLevel(io.Discard, gzip.BestSpeed); return z }}

func zipped(data []byte) []byte {
	var b bytes.Buffer
	z := zippers.Get().(*gzip.Writer)
	z.Reset(&b)
	z.Write(data) //nolint:errcheck // a buffer does not fail
	z.Close()     //nolint:errcheck // likewise
	zippers.Put(z)
	return b.Bytes()
}

// file sends an embedded file; its tag changes with its content.
func (s *server) file(w http.ResponseWriter, r *http.Request) {
	a, ok := s.files[r.PathValue("file")]
	if !ok {
		http.NotFound(w, r)
		return
	}
	h := w.Header()
	h.Set("Cache-Control", "no-cache")
	h.Set("ETag", a.tag)
	if strings.Contains(r.Header.Get("If-None-Match"), a.tag) {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	h.Set("Content-Type", a.kind)
	h.Add("Vary", "Accept-Encoding")
	data := a.data
	if takesGzip(r) {
		h.Set("Content-Encoding", "gzip")
		data = a.zip
	}
	h.Set("Content-Length", strconv.Itoa(len(data)))
	w.Write(data) //nolint:errcheck // the reader may have gone
}

// act wraps a form: it answers with a place to go to, or with a page that says
// what was wrong and keeps what was typed.
func (s *server) act(f func(w http.ResponseWriter, r *http.Request) (to string, again *page, err error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		to, again, err := f(w, r)
		switch {
		case err != nil:
			s.fail(w, r, err)
		case again != nil:
			s.render(w, r, http.StatusUnprocessableEntity, *again)
		default:
			http.Redirect(w, r, to, http.StatusSeeOther)
		}
	}
}

// signed tells whether a form carries the token of its person's own session.
func (s *server) signed(r *http.Request, token string) bool {
	return subtle.ConstantTimeCompare([]byte(token), []byte(s.token(r))) == 1
}

// errForm is a form of another page or of a server that has gone.
var errForm = errors.New("the form is stale: go back, reload the page and send it again")

type failure struct {
	Status     int
	Text, Mend string
}

// fail maps an error to a page.
func (s *server) fail(w http.ResponseWriter, r *http.Request, err error) {
	f := failure{Status: http.StatusInternalServerError, Text: err.Error()}
	var e *book.Error
	switch {
	case errors.Is(err, errForm):
		f.Status = http.StatusForbidden
	case errors.As(err, &e):
		f.Text, f.Mend = e.Text, e.Mend
		switch e.Kind {
		case book.ErrNotFound:
			f.Status = http.StatusNotFound
		case book.ErrConflict:
			f.Status = http.StatusConflict
		case book.ErrInvalid:
			f.Status = http.StatusUnprocessableEntity
		case book.ErrLocked, book.ErrDamaged:
			f.Status = http.StatusServiceUnavailable
		}
	}
	if f.Status >= 500 {
		s.log.Error("request", "path", r.URL.Path, "error", err)
	}
	s.render(w, r, f.Status, page{Title: "That did not work", Name: "failure", Body: f})
}

// Serve answers on the address until the context ends, then lets requests in
// hand finish. An address that other machines reach is refused unless the
// handler was made to share.
func Serve(ctx context.Context, addr string, h http.Handler, ready func(address string)) error {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return fmt.Errorf("the address %q is not HOST:PORT: %w", addr, err)
	}
	site, _ := h.(*server)
	shared := site != nil && site.share
	if !shared && !local(host) {
		return fmt.Errorf("%s is not this machine's loopback: the pages are served to this machine alone; --share opens them to phones, after pairing", host)
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return err
	}
	srv := &http.Server{Handler: h, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Minute, WriteTimeout: 10 * time.Minute, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 32 << 10}
	scheme := "http"
	if site != nil {
		srv.ErrorLog = slog.NewLogLogger(site.log.Handler(), slog.LevelDebug)
		srv.RegisterOnShutdown(func() { site.once.Do(func() { close(site.closing) }) })
		if site.tls {
			cert, err := selfMade(machine())
			if err != nil {
				l.Close() //nolint:errcheck // nothing was served
				return err
			}
			scheme = "https"
			srv.TLSConfig = &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12}
		}
		site.mu.Lock()
		site.scheme = scheme
		_, site.port, _ = net.SplitHostPort(l.Addr().String())
		site.mu.Unlock()
	}
	if ready != nil {
		shown := l.Addr().String()
		if shared {
			_, port, _ := net.SplitHostPort(shown)
			shown = net.JoinHostPort("127.0.0.1", port)
		}
		ready(scheme + "://" + shown + "/")
	}
	done := make(chan error, 1)
	go func() {
		if scheme == "https" {
			done <- srv.ServeTLS(l, "", "")
		} else {
			done <- srv.Serve(l)
		}
	}()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
		end, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		return srv.Shutdown(end)
	}
}

// selfMade makes a certificate for this machine's addresses, good for a week.
func selfMade(ips []net.IP) (tls.Certificate, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return tls.Certificate{}, err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120))
	if err != nil {
		return tls.Certificate{}, err
	}
	now := time.Now()
	c := &x509.Certificate{SerialNumber: serial, Subject: pkix.Name{CommonName: "cornerwright on this network"}, NotBefore: now.Add(-24 * time.Hour), NotAfter: now.Add(7 * 24 * time.Hour),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, DNSNames: []string{"localhost"}, IPAddresses: ips}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	if err != nil {
		return tls.Certificate{}, err
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, nil
}
