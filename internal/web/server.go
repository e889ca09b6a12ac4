// Package web serves the book as pages on this machine: handlers, templates and
// assets. Pages are drawn on the server and work without scripts.
package web

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/subtle"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"html/template"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"runtime/debug"
	"strings"
	"time"

	"cornerwright/internal/book"
	"cornerwright/internal/paper"
)

//go:embed pages/*.html pages/page.css
var assets embed.FS

// Options of the server.
type Options struct {
	Log *slog.Logger // nil: silent
}

// server holds what the handlers share.
type server struct {
	book  *book.Book
	log   *slog.Logger
	pages *template.Template
	css   []byte
	token string // of forms: a page of another origin cannot know it
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
	css, err := assets.ReadFile("pages/page.css")
	if err != nil {
		return nil, err
	}
	raw := make([]byte, 18)
	if _, err := rand.Read(raw); err != nil {
		return nil, err
	}
	s := &server{book: b, log: o.Log, pages: t, css: css, token: hex.EncodeToString(raw)}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	m := http.NewServeMux()
	for _, r := range s.routes() {
		m.Handle(r.pattern, r.handler)
	}
	return s.guard(m), nil
}

type route struct {
	pattern string
	handler http.HandlerFunc
}

// routes are all routes there are.
func (s *server) routes() []route {
	return []route{
		{"GET /{$}", s.show(s.day)},
		{"GET /run/{run}", s.show(s.run)},
		{"GET /run/{run}/turn/{turn}", s.show(s.turn)},
		{"GET /run/{run}/debrief.pdf", s.debriefPDF},
		{"POST /run/{run}/remark", s.act(s.remark)},
		{"GET /step/{step}", s.show(s.step)},
		{"GET /step/{step}/sheet.html", s.sheetHTML},
		{"GET /step/{step}/sheet.pdf", s.sheetPDF},
		{"GET /step/{step}/verdict", s.show(s.verdict)},
		{"GET /add", s.show(s.addForm)},
		{"POST /add", s.act(s.add)},
		{"GET /page.css", s.style},
		{"GET /paper.css", s.paperStyle},
	}
}

// guard stands before every route: only this machine's own names are answered,
// writes come from our own pages, a panic stays inside its request.
func (s *server) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")
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
		if !local(r.Host) {
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
	Title string
	Name  string // template
	Token string
	Body  any
}

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
	p.Token = s.token
	var b bytes.Buffer
	if err := s.pages.ExecuteTemplate(&b, p.Name, p); err != nil {
		s.log.Error("template", "path", r.URL.Path, "error", err)
		http.Error(w, "the page could not be drawn; it is in the log", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	w.Write(b.Bytes())
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

// signed tells whether the form carries this server's token.
func (s *server) signed(token string) bool {
	return subtle.ConstantTimeCompare([]byte(token), []byte(s.token)) == 1
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

func (s *server) style(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/css; charset=utf-8")
	w.Write(s.css)
}

func (s *server) paperStyle(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/css; charset=utf-8")
	w.Write([]byte(paper.CSS))
}

// Serve answers on the address until the context ends, then lets requests in
// hand finish.
func Serve(ctx context.Context, addr string, h http.Handler, ready func(address string)) error {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return fmt.Errorf("the address %q is not HOST:PORT: %w", addr, err)
	}
	if !local(host) {
		return fmt.Errorf("%s is not this machine's loopback: the pages are served to this machine alone", host)
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return err
	}
	srv := &http.Server{Handler: h, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Minute, WriteTimeout: 10 * time.Minute, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 32 << 10}
	if ready != nil {
		ready("http://" + l.Addr().String() + "/")
	}
	done := make(chan error, 1)
	go func() { done <- srv.Serve(l) }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
		end, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		return srv.Shutdown(end)
	}
}
