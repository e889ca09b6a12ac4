package web

import (
	"fmt"
	"html/template"
	"net"
	"net/http"
	"time"

	"rsc.io/qr"

	"cornerwright/internal/book"
	"cornerwright/internal/draw"
)

type sharePage struct {
	Shared   bool
	Code     string
	For      string
	Until    time.Time
	QR       template.HTML
	Address  string
	Sessions []session
}

// sharing shows who is in, and lets the crew invite and end.
func (s *server) sharing(r *http.Request) (page, error) {
	return page{Title: "Sharing", Name: "share", Body: sharePage{Shared: s.share, Address: s.address(), Sessions: s.door.list()}}, nil
}

// address is what a phone has to open: the first address of this machine that
// is not the loopback.
func (s *server) address() string {
	if !s.share {
		return ""
	}
	s.mu.Lock()
	port, scheme := s.port, s.scheme
	s.mu.Unlock()
	var best net.IP
	for _, ip := range machine() {
		if ip.IsLoopback() || ip.IsLinkLocalUnicast() {
			continue
		}
		if best == nil || best.To4() == nil && ip.To4() != nil {
			best = ip
		}
	}
	if best == nil {
		return ""
	}
	return scheme + "://" + net.JoinHostPort(best.String(), port)
}

// invite shows a code and its picture. The code stands behind the # of the
// address, which no browser sends and no log keeps.
func (s *server) invite(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	if !s.share {
		return "", nil, &book.Error{Kind: book.ErrConflict, Text: "the pages are served to this machine alone", Mend: "start again with cornerwright serve --share"}
	}
	role := Rider
	if field(r, "role") == "crew" {
		role = Crew
	}
	d := sharePage{Shared: true, For: role.String(), Address: s.address(), Sessions: s.door.list()}
	d.Code, d.Until = s.door.invite(role)
	if d.Address != "" {
		if q, err := qr.Encode(d.Address+"/join#"+d.Code, qr.M); err == nil {
			d.QR = picture(q)
		}
	}
	return "", &page{Title: "Sharing", Name: "share", Body: d, Status: http.StatusOK}, nil
}

// picture draws a code; it stays dark on light in every theme, as readers of
// codes want it.
func picture(q *qr.Code) template.HTML {
	const quiet = 4
	n := float64(q.Size + 2*quiet)
	v := draw.NewSVG(n, n)
	v.Rect(0, 0, n, n, draw.Pen{}, draw.White)
	for y := range q.Size {
		for x := 0; x < q.Size; x++ {
			run := 0
			for q.Black(x+run, y) && x+run < q.Size {
				run++
			}
			if run > 0 {
				v.Rect(float64(x+quiet), float64(y+quiet), float64(run), 1.02, draw.Pen{}, draw.Black)
				x += run
			}
		}
	}
	return v.HTML("qr", "Code to scan with the phone", "it opens the address with the pairing code that stands beside it")
}

// end closes sessions.
func (s *server) end(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	s.door.end(field(r, "session"))
	return "/share", nil, nil
}

type joinPage struct{ Trouble, Name string }

func (s *server) joinForm(r *http.Request) (page, error) {
	return page{Title: "Join", Name: "join", Body: joinPage{Name: youOf(r).Name}}, nil
}

// join trades a code for a session.
func (s *server) join(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	r.Body = http.MaxBytesReader(w, r.Body, maxForm)
	if err := r.ParseForm(); err != nil {
		return "", nil, errForm
	}
	name := []rune(field(r, "name"))
	from, _, _ := net.SplitHostPort(r.RemoteAddr)
	key, role, late := s.door.join(field(r, "code"), string(name[:min(len(name), 40)]), from)
	p := page{Title: "Join", Name: "join", Body: joinPage{Name: string(name)}}
	switch {
	case late:
		s.log.Warn("pairing: too many wrong codes", "from", from)
		p.Status = http.StatusTooManyRequests
		p.Body = joinPage{Trouble: "too many wrong codes: wait a minute, then ask the crew for a new one", Name: string(name)}
		return "", &p, nil
	case role == Nobody:
		p.Status = http.StatusForbidden
		p.Body = joinPage{Trouble: "this code is wrong or has run out: ask the crew for a new one", Name: string(name)}
		return "", &p, nil
	}
	http.SetCookie(w, &http.Cookie{Name: sessionCookie, Value: key, Path: "/", HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteStrictMode, MaxAge: int(sessionLife / time.Second)})
	s.log.Info("session opened", "role", role.String(), "from", from)
	if role == Rider {
		return "/phone", nil, nil
	}
	return "/", nil, nil
}

// leave ends one's own session.
func (s *server) leave(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	if ss := s.door.who(r); ss != nil {
		s.door.end(ss.ID)
	}
	http.SetCookie(w, &http.Cookie{Name: sessionCookie, Path: "/", MaxAge: -1, HttpOnly: true, SameSite: http.SameSiteStrictMode})
	return "/join", nil, nil
}

var errRole = fmt.Errorf("this page is for the crew")
