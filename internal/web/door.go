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
	codeLife    = 10 * time.Minute
	sessionLife = 24 * time.Hour
	// A code has 8 characters of 31, about 40 bits; at most wrongPerAddress
	// tries a minute from one address and wrongInAll from all together make
	// guessing within its life hopeless.
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
}

// door keeps pairing codes, sessions and the count of wrong tries. Codes and
// session keys are held as hashes only.
type door struct {
	now func() time.Time
	key []byte // of form tokens

	mu       sync.Mutex
	codes    map[[32]byte]pairing
	sessions map[[32]byte]*session
	wrong    map[string][]time.Time
}

type pairing struct {
	role  Role
	until time.Time
}

func newDoor() *door {
	k := make([]byte, 32)
	rand.Read(k) //nolint:errcheck // never fails: crypto/rand documents it
	return &door{now: time.Now, key: k, codes: map[[32]byte]pairing{}, sessions: map[[32]byte]*session{}, wrong: map[string][]time.Time{}}
}

// invite makes a pairing code for a role. It replaces the one before.
func (d *door) invite(role Role) (code string, until time.Time) {
	var b []byte
	for len(b) < 8 {
		var x [16]byte
		rand.Read(x[:]) //nolint:errcheck // never fails
		for _, v := range x {
			if int(v) < 256/len(codeLetters)*len(codeLetters) && len(b) < 8 {
				b = append(b, codeLetters[int(v)%len(codeLetters)])
			}
		}
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	for h, p := range d.codes {
		if p.role == role {
			delete(d.codes, h)
		}
	}
	until = d.now().Add(codeLife)
	d.codes[sha256.Sum256(b)] = pairing{role, until}
	return string(b), until
}

// join trades a code for a session key. late tells that there were too many
// wrong tries.
func (d *door) join(code, name, from string) (key string, role Role, late bool) {
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
		return "", Nobody, true
	}
	clean := strings.ToUpper(strings.NewReplacer(" ", "", "-", "").Replace(code))
	have := sha256.Sum256([]byte(clean))
	for h, p := range d.codes {
		if now.After(p.until) {
			delete(d.codes, h)
			continue
		}
		// Hashes are compared, in constant time: neither tells how near a guess was.
		if subtle.ConstantTimeCompare(h[:], have[:]) == 1 {
			role = p.role
		}
	}
	if role == Nobody {
		d.wrong[from] = append(d.wrong[from], now)
		return "", Nobody, false
	}
	raw := make([]byte, 32)
	rand.Read(raw) //nolint:errcheck // never fails
	key = hex.EncodeToString(raw)
	h := sha256.Sum256([]byte(key))
	d.sessions[h] = &session{ID: hex.EncodeToString(h[:6]), Role: role, Name: name, From: from, At: now, Seen: now}
	return key, role, false
}

const sessionCookie = "cw_session"

// who finds the session of a request; nil for none.
func (d *door) who(r *http.Request) *session {
	c, err := r.Cookie(sessionCookie)
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
	if d.now().Sub(s.Seen) > sessionLife {
		delete(d.sessions, h)
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
		if d.now().Sub(s.Seen) <= sessionLife {
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
			delete(d.sessions, h)
		}
	}
	if id == "all" {
		d.codes = map[[32]byte]pairing{}
	}
}

// token of the forms of one session; "" is the crew at this machine.
func (d *door) token(s *session) string {
	m := hmac.New(sha256.New, d.key)
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

func loopback(addr string) bool {
	h, _, err := net.SplitHostPort(addr)
	if err != nil {
		return false
	}
	ip := net.ParseIP(h)
	return ip != nil && ip.IsLoopback()
}

// ours tells whether a Host header names this machine: the loopback always; the
// addresses of its own interfaces while it shares. A name is never answered, so
// that no foreign name can be pointed at us.
func (s *server) ours(host string) bool {
	if local(host) {
		return true
	}
	if !s.share {
		return false
	}
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	ip := net.ParseIP(strings.Trim(name, "[]"))
	if ip == nil {
		return false
	}
	for _, a := range machine() {
		if a.Equal(ip) {
			return true
		}
	}
	return false
}

// machine lists the addresses of this machine's interfaces.
func machine() []net.IP {
	as, err := net.InterfaceAddrs()
	if err != nil {
		return nil
	}
	var out []net.IP
	for _, a := range as {
		if n, ok := a.(*net.IPNet); ok {
			out = append(out, n.IP)
		}
	}
	return out
}
