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
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io"
	"log/slog"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"cornerwright/internal/book"
	"cornerwright/internal/draw"
	"cornerwright/internal/paper"
	"cornerwright/internal/say"
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
	watch  watcher
	book   *book.Book
	log    *slog.Logger
	voices voices
	files  map[string]asset
	door   *door
	share  bool
	tls    bool
	began  time.Time
	all    http.Handler

	streams atomic.Int64
	jobs    sync.Map // name -> *job
	uploads chan struct{}
	work    chan struct{}
	gauge   gauge
	memo    memo

	// closing is closed when the program is asked to stop: streams end, nothing
	// new is taken. halt is closed when what is in hand has had its time.
	closing, halt chan struct{}
	stop, cut     sync.Once

	mu           sync.Mutex
	port, scheme string
	fingerprint  string // of the certificate, "" without one
	own          []own
	asked        time.Time
}

// asset is one embedded file, ready to send.
type asset struct {
	kind string
	data []byte
	zip  []byte
	tag  string
}

// New returns the handler of all pages over a book.
func New(b *book.Book, o Options) (http.Handler, error) {
	s := &server{book: b, log: o.Log, files: map[string]asset{}, door: newDoor(), share: o.Share, tls: o.TLS, began: time.Now(),
		uploads: make(chan struct{}, maxUploads), work: make(chan struct{}, maxWork), closing: make(chan struct{}), halt: make(chan struct{})}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	if _, err := s.voices.in(youOf(&http.Request{})); err != nil { // a wrong template stops the start
		return nil, err
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
		{"POST /add/watch", Crew, s.act(s.startWatching)},
		{"POST /add/unwatch", Crew, s.act(s.stopWatching)},
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

// page is what every template is given.
type page struct {
	Title  say.Text          // of the catalogue, or a name
	Words  map[string]string // of the scripts, in the language; nil in English
	Name   string            // template
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
		last, _ := s.book.LastEvent() // before the page is made: what comes after is told to it
		p, err := f(r)
		if err != nil {
			s.fail(w, r, err)
			return
		}
		p.Last = last
		s.render(w, r, http.StatusOK, p)
	}
}

func (s *server) render(w http.ResponseWriter, r *http.Request, status int, p page) {
	if p.Status != 0 {
		status = p.Status
	}
	if p.Token == "" {
		p.Token, p.Role = s.token(r), asking(r).role
	}
	p.You, p.Shared = youOf(r), s.share
	p.Path = r.URL.RequestURI()
	if r.Method != http.MethodGet {
		p.Path = "/"
	}
	if p.Last == 0 {
		if n, err := s.book.LastEvent(); err == nil {
			p.Last = n
		}
	}
	v, err := s.voices.in(p.You)
	if err != nil {
		s.log.Error("voice", "error", err)
		http.Error(w, "the page could not be drawn; it is in the log", http.StatusInternalServerError)
		return
	}
	p.Title, p.Words = say.Plain(p.Title.In(v.words)), v.script
	var b bytes.Buffer
	if err := v.pages.ExecuteTemplate(&b, p.Name, p); err != nil {
		s.log.Error("template", "path", r.URL.Path, "error", err)
		http.Error(w, "the page could not be drawn; it is in the log", http.StatusInternalServerError)
		return
	}
	s.send(w, r, status, "text/html; charset=utf-8", p.You.drawn(draw.Said(b.Bytes(), v.words)))
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
		last, _ := s.book.LastEvent()
		to, again, err := f(w, r)
		switch {
		case err != nil:
			s.fail(w, r, err)
		case again != nil:
			again.Last = last
			s.render(w, r, http.StatusUnprocessableEntity, *again)
		default:
			http.Redirect(w, r, to, http.StatusSeeOther)
		}
	}
}
