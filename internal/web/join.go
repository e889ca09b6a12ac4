package web

import (
	"errors"
	"html/template"
	"mime"
	"net"
	"net/http"
	"net/url"
	"sort"
	"strings"

	"rsc.io/qr"

	"cornerwright/internal/book"
	"cornerwright/internal/draw"
	"cornerwright/internal/say"
)

// invitation is a code as the page shows it.
type invitation struct {
	pairing
	QR template.HTML
}

type sharePage struct {
	Shared      bool
	Codes       []invitation
	Addresses   []string // of this machine, as phones may open them
	Address     string   // the one that the codes lead to
	Fingerprint string   // of the certificate, "" without encryption
	Sessions    []session
	Own         string // id of the reader's own session
}

// sharing shows the codes that are good, who is in, and lets the crew invite
// and end.
func (s *server) sharing(r *http.Request) (page, error) {
	d := sharePage{Shared: s.share, Addresses: s.addresses(), Sessions: s.door.list()}
	s.mu.Lock()
	d.Fingerprint = s.fingerprint
	s.mu.Unlock()
	if ss := asking(r).session; ss != nil {
		d.Own = ss.ID
	}
	for i, a := range d.Addresses {
		if i == 0 || a == r.URL.Query().Get("address") {
			d.Address = a
		}
	}
	if s.share {
		for _, p := range s.door.invitations() {
			x := invitation{pairing: p}
			if d.Address != "" {
				if q, err := scan(d.Address+"/join", p.Code); err == nil {
					x.QR = picture(q)
				}
			}
			d.Codes = append(d.Codes, x)
		}
	}
	return page{Title: say.T("Sharing"), Name: "share", Body: d}, nil
}

// addresses are what a phone may open, the likeliest first.
func (s *server) addresses() []string {
	if !s.share {
		return nil
	}
	list := s.machine()
	s.mu.Lock()
	port, scheme := s.port, s.scheme
	s.mu.Unlock()
	var out []string
	for _, a := range list {
		if !a.ip.IsLoopback() && !a.ip.IsLinkLocalUnicast() {
			out = append(out, scheme+"://"+net.JoinHostPort(a.ip.String(), port))
		}
	}
	return out
}

// scan makes the code to scan. The pairing code stands behind the # of the
// address, which no browser sends and no log keeps.
func scan(join, code string) (*qr.Code, error) { return qr.Encode(join+"#"+code, qr.M) }

// quiet is the margin that readers of codes want, in modules (ISO/IEC 18004).
const quiet = 4

// picture draws a code; it stays dark on light in every theme.
func picture(q *qr.Code) template.HTML {
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
	return v.HTML("qr", say.T("Code to scan with the phone"), say.T("it opens the address with the pairing code that stands beside it"))
}

// blocks draws a code in lines of text, two modules a character. Light modules
// are drawn, so that it can be read off a dark terminal; readers take the
// inverse of a light one too.
func blocks(q *qr.Code) string {
	light := func(x, y int) bool { return !q.Black(x, y) }
	var b strings.Builder
	for y := -quiet; y < q.Size+quiet; y += 2 {
		for x := -quiet; x < q.Size+quiet; x++ {
			switch up, down := light(x, y), light(x, y+1); {
			case up && down:
				b.WriteRune('█')
			case up:
				b.WriteRune('▀')
			case down:
				b.WriteRune('▄')
			default:
				b.WriteByte(' ')
			}
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// invite makes a code; the page shows it.
func (s *server) invite(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	if !s.share {
		return "", nil, &book.Error{Kind: book.ErrConflict, Text: say.T("the pages are served to this machine alone"), Mend: say.T("start again with cornerwright serve --share")}
	}
	role := Rider
	if field(r, "role") == "crew" {
		role = Crew
	}
	s.door.invite(role)
	s.log.Info("invited", "role", role.String())
	to := "/share"
	if a := field(r, "address"); a != "" {
		to += "?address=" + url.QueryEscape(a)
	}
	return to, nil, nil
}

// end closes sessions.
func (s *server) end(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	s.door.end(field(r, "session"))
	s.log.Info("session ended", "session", short(field(r, "session")))
	return "/share", nil, nil
}

// keptForm is what was typed into a form that could not be taken as its session
// had ended: it is carried through joining, shown again and sent by hand.
type keptForm struct {
	Path   string
	Fields []keptField
	Files  bool // there was a file too, which cannot be kept

	Trouble, Mend say.Text // why it was not taken, where that is known
}

type keptField struct {
	Name, Value string
	Shown       bool // of interest to a person
}

func (k keptForm) any() bool { return len(k.Fields) > 0 || k.Files }

// hidden fields of our forms that say nothing to a person.
var silent = map[string]bool{"key": true, "from": true, "job": true, "token": true, "back": true}

// keep reads what a form held, token and all secrets left out.
func keep(w http.ResponseWriter, r *http.Request) keptForm {
	k := keptForm{Path: localPath(r.URL.RequestURI())}
	kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if kind == "multipart/form-data" {
		k.Files = true
		return k
	}
	if r.PostForm == nil {
		r.Body = http.MaxBytesReader(w, r.Body, maxForm)
		if r.ParseForm() != nil {
			return k
		}
	}
	return k.fill(r.PostForm, "")
}

// fill takes the fields of a form whose names begin with a prefix.
func (k keptForm) fill(form url.Values, prefix string) keptForm {
	var names []string
	for name := range form {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, name := range names {
		plain, ok := strings.CutPrefix(name, prefix)
		if !ok || plain == "token" || plain == "code" || plain == "" {
			continue
		}
		for _, v := range form[name] {
			k.Fields = append(k.Fields, keptField{Name: plain, Value: v, Shown: !silent[plain] && strings.TrimSpace(v) != ""})
		}
	}
	return k
}

type joinPage struct {
	Trouble say.Text
	Name    string
	Then    string // where to go afterwards
	Kept    keptForm
	Lapsed  bool
}

func (s *server) joinForm(r *http.Request) (page, error) {
	d := joinPage{Name: youOf(r).Name}
	if t := r.URL.Query().Get("then"); t != "" {
		d.Then = localPath(t)
	}
	return page{Title: say.T("Join"), Name: "join", Script: "join.js", Body: d}, nil
}

// keptPrefix marks the fields of a kept form inside the form for joining.
const keptPrefix = "kept."

// join trades a code for a session. It takes no token: a stranger has no
// session that another page could misuse, and the code is the secret.
func (s *server) join(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	r.Body = http.MaxBytesReader(w, r.Body, 2*maxForm)
	if err := r.ParseForm(); err != nil {
		return "", nil, errForm
	}
	name := clip(field(r, "name"), 40)
	from, _, _ := net.SplitHostPort(r.RemoteAddr)
	d := joinPage{Name: name}
	if t := field(r, "then"); t != "" {
		d.Then = localPath(t)
	}
	if p := r.PostForm.Get("kept"); p != "" {
		d.Kept = keptForm{Path: localPath(p)}.fill(r.PostForm, keptPrefix)
		d.Lapsed = true
	}
	key, role, err := s.door.join(field(r, "code"), name, from)
	if err != nil {
		p := page{Title: say.T("Join"), Name: "join", Script: "join.js", Status: http.StatusForbidden}
		d.Trouble = say.Of(err)
		switch {
		case errors.Is(err, errTries):
			p.Status = http.StatusTooManyRequests
			w.Header().Set("Retry-After", "60")
		case errors.Is(err, errFull):
			p.Status = http.StatusServiceUnavailable
		}
		s.log.Warn("pairing refused", "why", err.Error(), "from", from)
		p.Body = d
		return "", &p, nil
	}
	if old := s.door.who(r); old != nil {
		s.door.end(old.ID) // a new session never takes over an old one's key
	}
	sessionOf(w, r, key)
	if name != "" {
		prefer(w, r, "name", name)
	}
	s.log.Info("session opened", "role", role.String(), "from", from)
	switch {
	case d.Kept.any():
		to := *r
		to.Header = r.Header.Clone()
		to.Header.Set("Cookie", cookieName(r)+"="+key)
		ss := s.door.who(&to)
		if ss == nil {
			return "/", nil, nil
		}
		p := page{Title: say.T("You are in again"), Name: "kept", Body: d.Kept, Status: http.StatusOK, Token: s.door.token(role, ss), Role: role}
		return "", &p, nil
	case d.Then != "":
		return d.Then, nil, nil
	case role == Rider:
		return "/phone", nil, nil
	}
	return "/", nil, nil
}

// clip keeps at most n letters of what was typed on one line.
func clip(v string, n int) string {
	v = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return -1
		}
		return r
	}, v)
	if q := []rune(v); len(q) > n {
		return string(q[:n])
	}
	return v
}

// leave ends one's own session.
func (s *server) leave(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	if ss := asking(r).session; ss != nil {
		s.door.end(ss.ID)
	}
	sessionOf(w, r, "")
	return "/join", nil, nil
}
