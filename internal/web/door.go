package web

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"net"
	"net/http"
	"sort"
	"strings"
	"sync"
	"time"

	"cornerwright/internal/say"
)

// Role tells what a person may do.
type Role int

// Roles. A route states the least role that it answers.
const (
	Nobody Role = iota // no session: may only join
	Rider              // reads, and says what the bike did
	Crew               // everything
)

func (r Role) String() string { return [...]string{"nobody", "rider", "crew"}[r] }

const (
	codeLife = 10 * time.Minute
	// A session ends after a day without a request, and after three days in any
	// case: a meeting is that long.
	sessionIdle = 24 * time.Hour
	sessionLife = 72 * time.Hour
	maxSessions = 200
	// A code has 8 characters of 31, about 40 bits; at most wrongPerAddress
	// tries a minute from one address and wrongInAll from all together make
	// guessing within its life hopeless: 300 tries of 8.5e11.
	codeLength      = 8
	codeLetters     = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
	wrongPerAddress = 5
	wrongInAll      = 30
)

type session struct {
	ID   string // public, to be ended by
	Role Role
	Name string
	From string // address it was opened from
	At   time.Time
	Seen time.Time
	gone chan struct{} // closed when the session ends
	due  time.Time     // see allow
	ears int           // streams open
}

// pairing is a code that is good until an instant. A rider's code lets several
// in, as a team scans it from one screen; a crew's code lets in one.
type pairing struct {
	Code  string
	Role  Role
	Until time.Time
}

// door keeps pairing codes, sessions and the count of wrong tries, all in
// memory: a new start of the program knows nobody. Session keys are held as
// hashes only.
type door struct {
	now func() time.Time
	key []byte // of form tokens

	mu       sync.Mutex
	codes    map[Role]pairing
	sessions map[[32]byte]*session
	wrong    map[string][]time.Time
}

// Why a person was not let in.
var (
	errCode  = say.Error("this code is wrong or has run out: ask the crew for a new one")
	errTries = say.Error("too many wrong codes: wait a minute, then ask the crew for a new one")
	errFull  = say.Error("too many people are in already: the crew can end sessions on their page Sharing")
)

func newDoor() *door {
	k := make([]byte, 32)
	rand.Read(k) //nolint:errcheck // never fails: crypto/rand documents it
	return &door{now: time.Now, key: k, codes: map[Role]pairing{}, sessions: map[[32]byte]*session{}, wrong: map[string][]time.Time{}}
}

// newCode draws a code; each letter is equally likely.
func newCode() string {
	var b []byte
	for len(b) < codeLength {
		var x [16]byte
		rand.Read(x[:]) //nolint:errcheck // never fails
		for _, v := range x {
			if int(v) < 256/len(codeLetters)*len(codeLetters) && len(b) < codeLength {
				b = append(b, codeLetters[int(v)%len(codeLetters)])
			}
		}
	}
	return string(b)
}

// invite makes a pairing code for a role. It replaces the one before.
func (d *door) invite(role Role) pairing {
	d.mu.Lock()
	defer d.mu.Unlock()
	p := pairing{Code: newCode(), Role: role, Until: d.now().Add(codeLife)}
	d.codes[role] = p
	return p
}

// invitations are the codes that are good now, riders' first.
func (d *door) invitations() []pairing {
	d.mu.Lock()
	defer d.mu.Unlock()
	var out []pairing
	for _, role := range []Role{Rider, Crew} {
		if p, ok := d.codes[role]; ok && d.now().Before(p.Until) {
			out = append(out, p)
		}
	}
	return out
}

// join trades a code for a session key: errCode, errTries or errFull where it
// does not.
func (d *door) join(code, name, from string) (key string, role Role, err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	now := d.now()
	all := 0
	for a, ts := range d.wrong {
		keep := ts[:0]
		for _, t := range ts {
			if now.Sub(t) < time.Minute {
				keep = append(keep, t)
			}
		}
		if len(keep) == 0 {
			delete(d.wrong, a)
			continue
		}
		d.wrong[a] = keep
		all += len(keep)
	}
	if len(d.wrong[from]) >= wrongPerAddress || all >= wrongInAll {
		return "", Nobody, errTries
	}
	have := sha256.Sum256([]byte(strings.ToUpper(strings.NewReplacer(" ", "", "-", "").Replace(code))))
	for r, p := range d.codes {
		if now.After(p.Until) {
			delete(d.codes, r)
			continue
		}
		// Hashes are compared, in constant time, and every code is looked at:
		// the time taken tells neither length nor nearness of a guess.
		want := sha256.Sum256([]byte(p.Code))
		if subtle.ConstantTimeCompare(want[:], have[:]) == 1 {
			role = p.Role
		}
	}
	if role == Nobody {
		d.wrong[from] = append(d.wrong[from], now)
		return "", Nobody, errCode
	}
	d.sweep()
	if len(d.sessions) >= maxSessions {
		return "", Nobody, errFull
	}
	if role == Crew {
		delete(d.codes, Crew)
	}
	raw := make([]byte, 32)
	rand.Read(raw) //nolint:errcheck // never fails
	key = hex.EncodeToString(raw)
	h := sha256.Sum256([]byte(key))
	d.sessions[h] = &session{ID: hex.EncodeToString(h[:6]), Role: role, Name: name, From: from, At: now, Seen: now, gone: make(chan struct{})}
	return key, role, nil
}

// over tells whether a session has run out.
func (d *door) over(s *session) bool {
	return d.now().Sub(s.Seen) > sessionIdle || d.now().Sub(s.At) > sessionLife
}

// sweep ends the sessions that have run out.
func (d *door) sweep() {
	for h, s := range d.sessions {
		if d.over(s) {
			d.close(h)
		}
	}
}

func (d *door) close(h [32]byte) {
	close(d.sessions[h].gone)
	delete(d.sessions, h)
}

// cookieName of the session. Where the connection is encrypted the name says so
// in the way that browsers enforce (RFC 6265bis, "__Host-").
func cookieName(r *http.Request) string {
	if r.TLS != nil {
		return "__Host-cw_session"
	}
	return "cw_session"
}

// sessionOf writes a session's cookie; "" takes it away.
func sessionOf(w http.ResponseWriter, r *http.Request, key string) {
	c := &http.Cookie{Name: cookieName(r), Value: key, Path: "/", HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteStrictMode, MaxAge: int(sessionLife / time.Second)}
	if key == "" {
		c.MaxAge = -1
	}
	http.SetCookie(w, c)
}

// who finds the session of a request; nil for none.
func (d *door) who(r *http.Request) *session {
	c, err := r.Cookie(cookieName(r))
	if err != nil || len(c.Value) != 64 {
		return nil
	}
	h := sha256.Sum256([]byte(c.Value))
	d.mu.Lock()
	defer d.mu.Unlock()
	s := d.sessions[h]
	if s == nil {
		return nil
	}
	if d.over(s) {
		d.close(h)
		return nil
	}
	s.Seen = d.now()
	copied := *s
	return &copied
}

// list gives the sessions, newest first.
func (d *door) list() []session {
	d.mu.Lock()
	defer d.mu.Unlock()
	var out []session
	for _, s := range d.sessions {
		if !d.over(s) {
			out = append(out, *s)
		}
	}
	sort.Slice(out, func(i, j int) bool { return out[i].At.After(out[j].At) })
	return out
}

// end closes the session with an id, or all with "all", and every code.
func (d *door) end(id string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for h, s := range d.sessions {
		if s.ID == id || id == "all" {
			d.close(h)
		}
	}
	if id == "all" {
		d.codes = map[Role]pairing{}
	}
}

// token of the forms of one session. Without a session it is that of the role:
// the crew at this machine and a stranger have different ones.
func (d *door) token(role Role, s *session) string {
	m := hmac.New(sha256.New, d.key)
	m.Write([]byte(role.String()))
	if s != nil {
		m.Write([]byte(s.ID))
	}
	return hex.EncodeToString(m.Sum(nil)[:18])
}

// role of a request: who sits at this machine and calls it by its loopback name
// is crew; everybody else is what their session says.
func (s *server) role(r *http.Request) (Role, *session) {
	if ss := s.door.who(r); ss != nil {
		return ss.Role, ss
	}
	if local(r.Host) && loopback(r.RemoteAddr) {
		return Crew, nil
	}
	return Nobody, nil
}

// loopback tells whether an address of a connection is this machine's own.
func loopback(addr string) bool {
	h, _, err := net.SplitHostPort(addr)
	if err != nil {
		return false
	}
	ip := net.ParseIP(h)
	return ip != nil && ip.IsLoopback()
}

// local tells whether a Host header names the loopback of this machine.
func local(host string) bool {
	name := hostName(host)
	if name == "localhost" {
		return true
	}
	ip := net.ParseIP(name)
	return ip != nil && ip.IsLoopback()
}

// hostName is a Host header without its port and brackets.
func hostName(host string) string {
	if h, _, err := net.SplitHostPort(host); err == nil {
		return h
	}
	return strings.TrimSuffix(strings.TrimPrefix(host, "["), "]")
}

// ours tells whether a Host header names this machine: the loopback always; the
// addresses of its own interfaces while it shares. A name is never answered, so
// that no foreign name can be pointed at us (DNS rebinding).
func (s *server) ours(host string) bool {
	if local(host) {
		return true
	}
	if !s.share {
		return false
	}
	ip := net.ParseIP(hostName(host))
	if ip == nil {
		return false
	}
	for _, a := range s.machine() {
		if a.ip.Equal(ip) {
			return true
		}
	}
	return false
}

// own is one address of this machine.
type own struct {
	ip     net.IP
	likely int // how likely a phone reaches it; 0 is best
}

// machine lists the addresses of this machine, best first. Networks come and go
// with sticks and hotspots: the list is asked anew every few seconds.
func (s *server) machine() []own {
	s.mu.Lock()
	defer s.mu.Unlock()
	if time.Since(s.asked) > 5*time.Second {
		s.own, s.asked = machine(), time.Now()
	}
	return s.own
}

func machine() []own {
	is, err := net.Interfaces()
	if err != nil {
		return nil
	}
	var out []own
	for _, i := range is {
		as, err := i.Addrs()
		if err != nil || i.Flags&net.FlagUp == 0 {
			continue
		}
		for _, a := range as {
			n, ok := a.(*net.IPNet)
			if !ok {
				continue
			}
			o := own{ip: n.IP}
			switch {
			case n.IP.IsLoopback():
				o.likely = 9
			case n.IP.IsLinkLocalUnicast():
				o.likely = 6
			case n.IP.To4() == nil:
				o.likely = 2
			}
			// A bridge or tunnel of this machine is no network that a phone is on.
			for _, v := range []string{"docker", "veth", "br-", "virbr", "vmnet", "vboxnet", "tun", "tap", "wg", "utun"} {
				if strings.HasPrefix(i.Name, v) {
					o.likely += 3
				}
			}
			out = append(out, o)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].likely < out[j].likely })
	return out
}
