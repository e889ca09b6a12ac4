package web

import (
	"crypto/tls"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"
)

func TestPairing(t *testing.T) {
	s := aSite(t, aBook(t))
	now := time.Now()
	s.door.now = func() time.Time { return now }
	try := func(code, from string) int {
		p := &person{site: s, from: from}
		return p.post("/join", url.Values{"code": {code}}).Code
	}
	code := s.door.invite(Rider).Code
	if len(code) != codeLength || strings.Trim(code, codeLetters) != "" {
		t.Errorf("code %q", code)
	}
	if c := try(strings.ToLower(code[:4])+" "+code[4:], "192.0.2.1:1"); c != http.StatusSeeOther {
		t.Errorf("a code typed in small letters with a gap: %d", c)
	}
	if c := try(code, "192.0.2.2:1"); c != http.StatusSeeOther {
		t.Errorf("a second rider with the same code: %d", c)
	}
	next := s.door.invite(Rider).Code
	if c := try(code, "192.0.2.3:1"); c != http.StatusForbidden {
		t.Errorf("a replaced code: %d", c)
	}
	now = now.Add(codeLife + time.Second)
	if c := try(next, "192.0.2.3:1"); c != http.StatusForbidden {
		t.Errorf("a code that has run out: %d", c)
	}
	crew := s.door.invite(Crew).Code
	if c := try(crew, "192.0.2.4:1"); c != http.StatusSeeOther {
		t.Errorf("a crew's code: %d", c)
	}
	if c := try(crew, "192.0.2.5:1"); c != http.StatusForbidden {
		t.Errorf("a crew's code a second time: %d", c)
	}
	if c := try("", "192.0.2.5:1"); c != http.StatusForbidden {
		t.Errorf("no code: %d", c)
	}
	now = now.Add(2 * time.Minute)
	good := s.door.invite(Rider).Code
	for i := range wrongPerAddress {
		if c := try("22222222", "192.0.2.6:1"); c != http.StatusForbidden {
			t.Errorf("wrong try %d: %d", i, c)
		}
	}
	if c := try(good, "192.0.2.6:2"); c != http.StatusTooManyRequests {
		t.Errorf("the right code after too many wrong ones: %d", c)
	}
	for i := range wrongInAll {
		try("22222222", fmt.Sprintf("192.0.2.%d:1", 20+i))
	}
	if c := try(good, "192.0.2.200:1"); c != http.StatusTooManyRequests {
		t.Errorf("after too many wrong tries from everywhere: %d", c)
	}
	now = now.Add(time.Minute + time.Second)
	if c := try(good, "192.0.2.6:3"); c != http.StatusSeeOther {
		t.Errorf("a minute later: %d", c)
	}
	if len(s.door.wrong) > 1 {
		t.Errorf("%d addresses are remembered for nothing", len(s.door.wrong))
	}
	good = s.door.invite(Rider).Code
	for i := range maxSessions {
		try(good, fmt.Sprintf("198.51.100.%d:1", i))
	}
	if c := try(good, "203.0.113.1:1"); c != http.StatusServiceUnavailable {
		t.Errorf("one more than may be in: %d", c)
	}
	if n := len(s.door.list()); n != maxSessions {
		t.Errorf("%d sessions", n)
	}
	now = now.Add(sessionIdle + time.Second)
	if n := len(s.door.list()); n != 0 {
		t.Errorf("%d sessions after a day of silence", n)
	}
	good = s.door.invite(Rider).Code
	if c := try(good, "203.0.113.1:1"); c != http.StatusSeeOther || len(s.door.sessions) != 1 {
		t.Errorf("old sessions must make room: %d, %d kept", c, len(s.door.sessions))
	}
}

// Every letter of a code is equally likely: chi-squared with 30 degrees of
// freedom stays below 59.7 but for one time in a thousand (tables of the
// distribution); the seed is the machine's, so the bound is set at one in 1e6.
func TestCodesAreEven(t *testing.T) {
	count := map[rune]float64{}
	const n = 4000
	seen := map[string]bool{}
	for range n {
		c := newCode()
		if seen[c] {
			t.Fatalf("code %s came twice in %d", c, n)
		}
		seen[c] = true
		for _, r := range c {
			count[r]++
		}
	}
	want, chi := float64(n*codeLength)/float64(len(codeLetters)), 0.0
	for _, r := range codeLetters {
		chi += (count[r] - want) * (count[r] - want) / want
	}
	if chi > 83 {
		t.Errorf("chi-squared %.1f over 30 degrees of freedom", chi)
	}
}

func TestSessionsEnd(t *testing.T) {
	s := aSite(t, aBook(t))
	now := time.Now()
	s.door.now = func() time.Time { return now }
	bea := s.enter(Rider, "Bea")
	list := s.door.list()
	if len(list) != 2 {
		t.Fatalf("%d sessions", len(list))
	}
	var id string
	for _, x := range list {
		if x.Name == "Bea" {
			id = x.ID
		}
	}
	if w := s.rider.sign("/share/end", url.Values{"session": {id}}); w.Code != http.StatusForbidden {
		t.Errorf("a rider ended another's session: %d", w.Code)
	}
	if w := s.crew.get("/share"); !strings.Contains(w.Body.String(), "Bea") || !strings.Contains(w.Body.String(), id) {
		t.Error("the page Sharing does not list Bea")
	}
	if w := bea.get("/run/1"); w.Code != http.StatusOK {
		t.Fatalf("Bea reads: %d", w.Code)
	}
	s.crew.sign("/share/end", url.Values{"session": {id}})
	if w := bea.get("/run/1"); w.Code != http.StatusSeeOther || !strings.HasPrefix(w.Header().Get("Location"), "/join?then=%2Frun%2F1") {
		t.Errorf("Bea reads after her session was ended: %d %s", w.Code, w.Header().Get("Location"))
	}
	if w := s.rider.get("/run/1"); w.Code != http.StatusOK {
		t.Errorf("Ada was ended too: %d", w.Code)
	}
	// Joining again while in: the old key is good no more.
	old := append([]*http.Cookie(nil), s.rider.cookies...)
	if w := s.rider.post("/join", url.Values{"code": {s.door.invite(Rider).Code}, "then": {"/run/1/turn/3"}}); w.Header().Get("Location") != "/run/1/turn/3" {
		t.Errorf("joining leads to %q", w.Header().Get("Location"))
	}
	if w := (&person{site: s, from: "192.0.2.8:1", cookies: old}).get("/run/1"); w.Code != http.StatusSeeOther {
		t.Errorf("the key of before joining again: %d", w.Code)
	}
	for _, bad := range []string{"https://evil.example/", "//evil.example", "/\\evil.example", "javascript:alert(1)", "\thttps://evil.example"} {
		p := &person{site: s, from: "192.0.2.9:1"}
		if w := p.post("/join", url.Values{"code": {s.door.invite(Rider).Code}, "then": {bad}}); w.Header().Get("Location") != "/" {
			t.Errorf("after joining %q leads to %q", bad, w.Header().Get("Location"))
		}
	}
	s.rider.sign("/leave", nil)
	if w := s.rider.get("/run/1"); w.Code != http.StatusSeeOther {
		t.Errorf("after leaving: %d", w.Code)
	}
	cyd := s.enter(Rider, "Cyd")
	for range 4 {
		now = now.Add(sessionIdle - time.Minute)
		cyd.get("/you")
	}
	if w := cyd.get("/run/1"); w.Code != http.StatusSeeOther {
		t.Errorf("a session older than three days, never idle: %d", w.Code)
	}
	s.door.invite(Rider)
	s.crew.sign("/share/end", url.Values{"session": {"all"}})
	if len(s.door.list()) != 0 || len(s.door.invitations()) != 0 {
		t.Error("ending all left some in, or a code")
	}
}

// What was typed into a form whose session had ended is carried through joining
// and taken once.
func TestAnEndedSessionKeepsWhatWasTyped(t *testing.T) {
	s := aSite(t, aBook(t))
	typed := "into 3 it pushes me on <b>badly</b> & \"hard\""
	form := url.Values{"token": {s.rider.token()}, "words": {typed}, "key": {"k1"}, "from": {"phone"}, "rider": {"Ada"}}
	s.door.end("all")
	w := s.rider.post("/run/1/remark", form)
	body := w.Body.String()
	if w.Code != http.StatusUnauthorized || !strings.Contains(body, "&lt;b&gt;badly&lt;/b&gt;") || strings.Contains(body, "<b>badly") {
		t.Fatalf("%d, the words are not kept: %.400s", w.Code, body)
	}
	if strings.Contains(body, form.Get("token")) {
		t.Error("the old token is sent back")
	}
	// The form for joining carries it; a wrong code keeps carrying it.
	carried := fields(body, "/join")
	carried.Set("code", "22222222")
	w = s.rider.post("/join", carried)
	if w.Code != http.StatusForbidden {
		t.Fatalf("wrong code: %d", w.Code)
	}
	carried = fields(w.Body.String(), "/join")
	carried.Set("code", s.door.invite(Rider).Code)
	carried.Set("name", "Ada")
	w = s.rider.post("/join", carried)
	if w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "&lt;b&gt;badly&lt;/b&gt;") {
		t.Fatalf("joined: %d %.300s", w.Code, w.Body)
	}
	again := fields(w.Body.String(), "/run/1/remark")
	for range 2 { // sent twice, taken once
		if w = s.rider.post("/run/1/remark", again); w.Code != http.StatusSeeOther {
			t.Fatalf("sent once more: %d %.300s", w.Code, w.Body)
		}
	}
	rs, err := s.book.Remarks(1)
	if err != nil || len(rs) != 2 || rs[1].Words != typed || rs[1].Rider != "Ada" {
		t.Errorf("remarks %+v, %v", rs, err)
	}
}

// A program started anew knows no old form; what was typed is shown again.
func TestAStaleFormKeepsWhatWasTyped(t *testing.T) {
	b := aBook(t)
	old := aSite(t, b)
	form := url.Values{"token": {old.crew.token()}, "words": {"into 3 it pushes me on"}, "key": {"k9"}}
	now := aSite(t, b)
	w := now.crew.post("/run/1/remark", form)
	if w.Code != http.StatusForbidden || !strings.Contains(w.Body.String(), "into 3 it pushes me on") {
		t.Fatalf("%d %.300s", w.Code, w.Body)
	}
	if w = now.crew.post("/run/1/remark", fields(w.Body.String(), "/run/1/remark")); w.Code != http.StatusSeeOther {
		t.Errorf("sent again: %d", w.Code)
	}
}

// Cookies of a session: not for scripts, not for other sites, and only over
// encryption where there is any. RFC 6265bis.
func TestSessionCookie(t *testing.T) {
	s := aSite(t, aBook(t))
	for _, enc := range []bool{false, true} {
		r := httptest.NewRequest("POST", "http://127.0.0.1:8765/join", strings.NewReader(url.Values{"code": {s.door.invite(Rider).Code}}.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		if enc {
			r.TLS = &tls.ConnectionState{}
		}
		p := &person{site: s, from: "192.0.2.8:1"}
		c := p.do(r).Header().Get("Set-Cookie")
		want := []string{"HttpOnly", "SameSite=Strict", "Path=/"}
		if enc {
			want = append(want, "Secure", "__Host-")
		}
		for _, v := range want {
			if !strings.Contains(c, v) {
				t.Errorf("encrypted %v: cookie %q lacks %s", enc, c, v)
			}
		}
		if strings.Contains(c, "Domain") {
			t.Errorf("cookie for other names: %q", c)
		}
	}
}

func TestSharingInvites(t *testing.T) {
	s := aSite(t, aBook(t))
	s.site()
	s.door.codes = map[Role]pairing{}
	body := s.crew.get("/share").Body.String()
	if !strings.Contains(body, "No code is good now") {
		t.Error("a code without an invitation")
	}
	if w := s.crew.sign("/share/invite", url.Values{"role": {"rider"}}); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/share" {
		t.Fatalf("%d %s", w.Code, w.Header().Get("Location"))
	}
	code := s.door.invitations()[0].Code
	body = s.crew.get("/share").Body.String()
	if !strings.Contains(body, code) || len(s.addresses()) > 0 && !strings.Contains(body, `class="fig qr"`) {
		t.Errorf("the page does not show the code")
	}
	if w := s.rider.get("/share"); w.Code != http.StatusForbidden || strings.Contains(w.Body.String(), code) {
		t.Errorf("a rider sees the code: %d", w.Code)
	}
	q, err := scan("http://192.0.2.1:8765/join", code)
	if err != nil {
		t.Fatal(err)
	}
	// The picture of text holds the very modules of the code.
	lines := strings.Split(strings.TrimSuffix(blocks(q), "\n"), "\n")
	for y := range q.Size {
		row := []rune(lines[(y+quiet)/2])
		for x := range q.Size {
			c := row[x+quiet]
			light := c == '█' || (y+quiet)%2 == 0 && c == '▀' || (y+quiet)%2 == 1 && c == '▄'
			if light == q.Black(x, y) {
				t.Fatalf("module %d,%d is wrong", x, y)
			}
		}
	}
	alone := aSite(t, aBook(t), Options{Share: false})
	if w := alone.crew.sign("/share/invite", nil); w.Code != http.StatusConflict {
		t.Errorf("invited without sharing: %d", w.Code)
	}
}

// site gives a server that has no socket an address to show.
func (s *site) site() { s.scheme, s.port = "http", "8765" }
