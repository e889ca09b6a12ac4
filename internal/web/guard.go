package web

import (
	"context"
	"crypto/subtle"
	"fmt"
	"net/http"
	"net/url"
	"runtime/debug"
	"strings"
	"time"

	"cornerwright/internal/say"
)

// What a request may carry and how much is done at once.
const (
	maxForm    = 64 << 10
	maxUpload  = 1 << 30
	maxUploads = 2  // recordings taken at once; more wait
	maxWork    = 32 // pages made at once; more wait
	patience   = 20 * time.Second
)

// How long a client may take to send a request or to take an answer. Uploads
// and streams have times of their own.
const (
	readTime   = 30 * time.Second
	writeTime  = 2 * time.Minute
	uploadTime = 15 * time.Minute
)

// policy allows our own files and nothing else: no inline style or script, no
// other host.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// headers of every answer. The referrer policy is same-origin and not stricter:
// under no-referrer a browser sends "Origin: null" with our own forms too, and
// they could not be told from foreign ones (Fetch standard, "append a request
// `Origin` header").
var headers = map[string]string{
	"Content-Security-Policy":      policy,
	"X-Content-Type-Options":       "nosniff",
	"X-Frame-Options":              "DENY",
	"Referrer-Policy":              "same-origin",
	"Cross-Origin-Resource-Policy": "same-origin",
	"Cross-Origin-Opener-Policy":   "same-origin",
	"Permissions-Policy":           "camera=(), microphone=(), geolocation=()",
	"Cache-Control":                "no-store",
}

// guard stands before every route: only this machine's own names are answered,
// writes come from our own pages, a panic stays inside its request, and the log
// says what was asked. It never says a query, a form, a cookie or a code.
func (s *server) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(plain http.ResponseWriter, r *http.Request) {
		began := time.Now()
		w := &told{ResponseWriter: plain}
		h := w.Header()
		for k, v := range headers {
			h.Set(k, v)
		}
		defer func() {
			p := recover()
			if p != nil && p != http.ErrAbortHandler {
				s.log.Error("panic", "path", short(r.URL.Path), "what", fmt.Sprint(p), "stack", string(debug.Stack()))
				s.gauge.panicked()
				if w.status == 0 {
					http.Error(w, "something broke while this page was made; it is in the log", http.StatusInternalServerError)
				} else {
					p = http.ErrAbortHandler // half an answer went out: break it off, so that nobody takes it for a whole one
				}
			}
			s.note(w, r, time.Since(began))
			if p == http.ErrAbortHandler {
				panic(p)
			}
		}()
		if !s.ours(r.Host) {
			http.Error(w, "this address is not answered: open the page by the address that the program printed", http.StatusMisdirectedRequest)
			return
		}
		if !sameOrigin(r) {
			http.Error(w, "the request came from another page", http.StatusForbidden)
			return
		}
		select {
		case <-s.closing:
			h.Set("Connection", "close")
			h.Set("Retry-After", "10")
			http.Error(w, "the program is being stopped: nothing was taken; start it again and send it again", http.StatusServiceUnavailable)
			return
		default:
		}
		next.ServeHTTP(w, r)
	})
}

// sameOrigin tells whether a request may come from the page it comes from.
// Writes must come from our own pages: Origin where it is sent (RFC 6454), else
// the browser's fetch metadata; a client that sends neither is no browser and
// still needs the form's token. Reads may be navigated to from anywhere, but not
// embedded or fetched by others.
func sameOrigin(r *http.Request) bool {
	site := r.Header.Get("Sec-Fetch-Site")
	if r.Method == http.MethodGet || r.Method == http.MethodHead {
		foreign := site == "cross-site" || site == "same-site"
		return !foreign || r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") != "object" && r.Header.Get("Sec-Fetch-Dest") != "embed"
	}
	if o := r.Header.Get("Origin"); o != "" {
		scheme := "http://"
		if r.TLS != nil {
			scheme = "https://"
		}
		if !strings.EqualFold(o, scheme+r.Host) {
			return false
		}
	}
	return site == "" || site == "same-origin"
}

// who asks: the role of a request and its session, nil for none.
type who struct {
	role    Role
	session *session
}

type whoKey struct{}

// here are routes that name folders of this machine: crew in another place may
// not, or a pairing code would open every file that this user can read.
var here = map[string]bool{"POST /add/watch": true}

// admit lets a request through to a route if its role is enough and there is
// room for it.
func (s *server) admit(t route) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		role, ss := s.role(r)
		note, _ := w.(*told)
		if note != nil {
			note.role, note.route = role, t.pattern
		}
		r = r.WithContext(context.WithValue(r.Context(), whoKey{}, who{role, ss}))
		if role < t.role {
			s.refuse(w, r, t, role)
			return
		}
		if here[t.pattern] && ss != nil {
			s.render(w, r, http.StatusForbidden, page{Title: say.T("Only at the machine itself"), Name: "failure", Body: failure{Text: say.T("this reads folders of the machine that keeps the book; it is done there, not from another one"), Mend: say.T("ask whoever sits at it")}})
			return
		}
		write := r.Method != http.MethodGet && r.Method != http.MethodHead
		if write && ss != nil && !s.door.allow(ss.ID) {
			w.Header().Set("Retry-After", "5")
			s.render(w, r, http.StatusTooManyRequests, page{Title: say.T("Not so fast"), Name: "failure", Body: failure{Text: say.T("more was sent in a minute than a hand can write; nothing of this was taken"), Mend: say.T("wait some seconds, go back and send it again")}})
			return
		}
		if t.pattern == "GET /events" || t.pattern == "GET /add/progress/{job}" {
			if note != nil {
				note.stream = true
			}
			t.handler(w, r)
			return
		}
		room := s.work
		if t.pattern == "POST /add" {
			room = s.uploads
			c := http.NewResponseController(w)
			c.SetReadDeadline(time.Now().Add(uploadTime))  //nolint:errcheck // a writer without deadlines is a test's
			c.SetWriteDeadline(time.Now().Add(uploadTime)) //nolint:errcheck // likewise
			done := make(chan struct{})
			defer close(done)
			go func() {
				select {
				case <-s.halt:
					c.SetReadDeadline(time.Now()) //nolint:errcheck // ends a read that waits for the rest of a file
				case <-done:
				}
			}()
		}
		if !wait(r, room) {
			w.Header().Set("Retry-After", "5")
			s.render(w, r, http.StatusServiceUnavailable, page{Title: say.T("Too much at once"), Name: "failure", Body: failure{Text: say.T("more is asked at once than this machine can answer; nothing of this was taken"), Mend: say.T("wait some seconds, go back and send it again")}})
			return
		}
		defer func() { <-room }()
		t.handler(w, r)
	}
}

// wait for a place, but not for ever.
func wait(r *http.Request, room chan struct{}) bool {
	select {
	case room <- struct{}{}:
		return true
	default:
	}
	t := time.NewTimer(patience)
	defer t.Stop()
	select {
	case room <- struct{}{}:
		return true
	case <-t.C:
	case <-r.Context().Done():
	}
	return false
}

// allow bounds how much one session may send: 20 at once, then one a second.
func (d *door) allow(id string) bool {
	const burst, each = 20, time.Second
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, s := range d.sessions {
		if s.ID != id {
			continue
		}
		now := d.now()
		if s.due.Before(now) {
			s.due = now
		}
		if s.due.Sub(now) >= burst*each {
			return false
		}
		s.due = s.due.Add(each)
	}
	return true
}

var errRole = say.Error("this page is for the crew")

// refuse answers a role that is not enough. A reader is shown where to join; a
// form of a session that has ended keeps what was typed into it.
func (s *server) refuse(w http.ResponseWriter, r *http.Request, t route, role Role) {
	if role != Nobody {
		s.render(w, r, http.StatusForbidden, page{Title: say.T("Not for this role"), Name: "failure", Body: failure{Status: http.StatusForbidden, Text: say.Of(errRole), Mend: say.T("ask the crew for a code of theirs")}})
		return
	}
	if r.Method == http.MethodPost {
		s.render(w, r, http.StatusUnauthorized, page{Title: say.T("Join again"), Name: "join", Body: joinPage{Name: youOf(r).Name, Kept: keep(w, r), Lapsed: true}})
		return
	}
	if strings.Contains(r.Header.Get("Accept"), "text/html") {
		http.Redirect(w, r, "/join?then="+url.QueryEscape(r.URL.RequestURI()), http.StatusSeeOther)
		return
	}
	http.Error(w, "join first: open /join", http.StatusUnauthorized)
}

// asking tells who asks; before admit it is nobody.
func asking(r *http.Request) who {
	a, _ := r.Context().Value(whoKey{}).(who)
	return a
}

// token of the forms that this request's person is given.
func (s *server) token(r *http.Request) string {
	a := asking(r)
	return s.door.token(a.role, a.session)
}

// signed tells whether a form carries the token of its person's own session.
func (s *server) signed(r *http.Request, token string) bool {
	return subtle.ConstantTimeCompare([]byte(token), []byte(s.token(r))) == 1
}
