package web

import (
	"database/sql"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"regexp"
	"sort"
	"strings"
	"testing"

	_ "modernc.org/sqlite" // the book's tables are compared as they lie on disk
)

// rules states, for every route there is, the least role and a path that exists
// in the small book. A new route fails the test until it stands here.
var rules = map[string]struct {
	role Role
	path string
}{
	"GET /{$}":                          {Rider, "/"},
	"GET /meeting/{meeting}":            {Rider, "/meeting/MEETING"},
	"GET /meeting/{meeting}/report.pdf": {Rider, "/meeting/MEETING/report.pdf"},
	"GET /run/{run}":                    {Rider, "/run/1"},
	"GET /run/{run}/turn/{turn}":        {Rider, "/run/1/turn/3"},
	"GET /run/{run}/traces":             {Rider, "/run/1/traces"},
	"GET /run/{run}/trace.bin":          {Rider, "/run/1/trace.bin"},
	"GET /run/{run}/debrief.pdf":        {Rider, "/run/1/debrief.pdf"},
	"POST /run/{run}/remark":            {Rider, "/run/1/remark"},
	"POST /run/{run}/lap":               {Crew, "/run/1/lap"},
	"POST /run/{run}/told":              {Crew, "/run/1/told"},
	"POST /remark/{remark}/strike":      {Crew, "/remark/1/strike"},
	"GET /run/{run}/step/{ref}":         {Crew, "/run/1/step/own"},
	"POST /run/{run}/step/{ref}":        {Crew, "/run/1/step/own"},
	"GET /step/{step}":                  {Rider, "/step/1"},
	"POST /step/{step}/state":           {Crew, "/step/1/state"},
	"GET /step/{step}/sheet.html":       {Rider, "/step/1/sheet.html"},
	"GET /step/{step}/sheet.pdf":        {Rider, "/step/1/sheet.pdf"},
	"GET /step/{step}/plan":             {Rider, "/step/1/plan"},
	"GET /step/{step}/verdict":          {Rider, "/step/1/verdict"},
	"GET /add":                          {Crew, "/add"},
	"POST /add":                         {Crew, "/add"},
	"POST /add/watch":                   {Crew, "/add/watch"},
	"POST /add/unwatch":                 {Crew, "/add/unwatch"},
	"GET /add/progress/{job}":           {Crew, "/add/progress/none"},
	"GET /map/{hash}":                   {Crew, "/map/HASH"},
	"POST /map/{hash}":                  {Crew, "/map/HASH"},
	"GET /bikes":                        {Rider, "/bikes"},
	"POST /bikes":                       {Crew, "/bikes"},
	"GET /bike/{bike}":                  {Rider, "/bike/Heron%20998"},
	"GET /circuit/{circuit}":            {Rider, "/circuit/CIRCUIT"},
	"POST /circuit/{circuit}":           {Crew, "/circuit/CIRCUIT"},
	"GET /season":                       {Rider, "/season"},
	"GET /status":                       {Crew, "/status"},
	"GET /phone":                        {Rider, "/phone"},
	"GET /phone/{run}":                  {Rider, "/phone/1?turn=3&says=pushes-on"},
	"GET /you":                          {Nobody, "/you"},
	"POST /you":                         {Nobody, "/you"},
	"GET /share":                        {Crew, "/share"},
	"POST /share/invite":                {Crew, "/share/invite"},
	"POST /share/end":                   {Crew, "/share/end"},
	"GET /join":                         {Nobody, "/join"},
	"POST /join":                        {Nobody, "/join"},
	"POST /leave":                       {Rider, "/leave"},
	"GET /events":                       {Rider, "/events"},
	"GET /assets/{file}":                {Nobody, "/assets/page.css"},
}

// paths fills in what only the book knows.
func paths(t testing.TB, s *site) map[string]string {
	t.Helper()
	x, err := s.book.Run("1")
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for pattern, rule := range rules {
		p := strings.ReplaceAll(rule.path, "MEETING", url.PathEscape(x.Meeting))
		p = strings.ReplaceAll(p, "CIRCUIT", url.PathEscape(x.Circuit))
		out[pattern] = strings.ReplaceAll(p, "HASH", x.Original)
	}
	return out
}

// streams are routes that do not end by themselves: they are asked by HEAD here,
// and by real sockets in the tests of live updates.
func isStream(pattern string) bool {
	return pattern == "GET /events" || pattern == "GET /add/progress/{job}"
}

func TestEveryRouteStatesItsRole(t *testing.T) {
	s := aSite(t, aBook(t))
	path := paths(t, s)
	seen := map[string]bool{}
	for _, r := range s.routes() {
		rule, ok := rules[r.pattern]
		if !ok {
			t.Errorf("route %q states no role in the rules of this test: say who may do it", r.pattern)
			continue
		}
		seen[r.pattern] = true
		if rule.role != r.role {
			t.Errorf("route %q is served to %s, its rule says %s", r.pattern, r.role, rule.role)
		}
		method, _, _ := strings.Cut(r.pattern, " ")
		for _, p := range []struct {
			role   Role
			person *person
		}{{Nobody, s.nobody}, {Rider, s.rider}, {Crew, s.crew}} {
			m := method
			if isStream(r.pattern) {
				m = "HEAD"
			}
			req := httptest.NewRequest(m, "http://127.0.0.1:8765"+path[r.pattern], nil)
			if m == "POST" {
				req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			}
			w := p.person.do(req)
			refused := w.Code == http.StatusUnauthorized || w.Code == http.StatusForbidden
			switch {
			case p.role < rule.role && p.role == Nobody && w.Code != http.StatusUnauthorized:
				t.Errorf("%s as nobody: %d, not 401", r.pattern, w.Code)
			case p.role < rule.role && p.role == Rider && w.Code != http.StatusForbidden:
				t.Errorf("%s as rider: %d, not 403", r.pattern, w.Code)
			case p.role >= rule.role && method == "GET" && w.Code != http.StatusOK && w.Code != http.StatusSeeOther:
				t.Errorf("%s as %s: %d %.200s", r.pattern, p.role, w.Code, w.Body)
			case p.role >= rule.role && method == "POST" && !refused:
				// No write without a token; joining needs a code instead.
				t.Errorf("%s as %s without a token: %d", r.pattern, p.role, w.Code)
			case w.Code >= 500:
				t.Errorf("%s as %s: %d", r.pattern, p.role, w.Code)
			}
		}
	}
	for p := range rules {
		if !seen[p] {
			t.Errorf("the rules name %q, which is no route any more", p)
		}
	}
}

// A crew's token, or another rider's, opens nothing to a rider or nobody.
func TestTokensAreTheirOwnSessions(t *testing.T) {
	s := aSite(t, aBook(t))
	other := s.enter(Rider, "Bea")
	for _, c := range []struct {
		who  *person
		from *person
		name string
	}{{s.rider, s.crew, "rider with the crew's"}, {s.rider, other, "rider with another rider's"}, {s.crew, s.rider, "crew with a rider's"}, {s.rider, s.nobody, "rider with nobody's"}, {s.crew, s.nobody, "crew with nobody's"}} {
		w := c.who.post("/run/1/remark", url.Values{"token": {c.from.token()}, "words": {"into 3 it pushes me on"}})
		if w.Code != http.StatusForbidden {
			t.Errorf("%s: %d", c.name, w.Code)
		}
	}
	if rs, _ := s.book.Remarks(1); len(rs) != 1 {
		t.Errorf("%d remarks, want the first alone", len(rs))
	}
}

// Folders of this machine are named at this machine: a paired crew may not.
func TestFoldersAreNamedAtTheMachine(t *testing.T) {
	s := aSite(t, aBook(t))
	far := s.enter(Crew, "Eve")
	dir := t.TempDir()
	if w := far.sign("/add/watch", url.Values{"folder": {dir}, "bike": {"Heron 998"}}); w.Code != http.StatusForbidden || s.watch.page().Root != "" {
		t.Errorf("crew elsewhere: %d, watching %q", w.Code, s.watch.page().Root)
	}
	if w := s.crew.sign("/add/watch", url.Values{"folder": {dir}, "bike": {"Heron 998"}}); w.Code != http.StatusSeeOther || s.watch.page().Root != dir {
		t.Errorf("crew here: %d %.300s", w.Code, w.Body)
	}
	s.crew.sign("/add/unwatch", nil)
}

// content is every row of every table of a book on disk, by table.
func content(t *testing.T, dir string) map[string]string {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, "book.db")+"?mode=ro")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	list := func(q string) [][]string {
		rows, err := db.Query(q)
		if err != nil {
			t.Fatal(q, err)
		}
		defer rows.Close()
		cols, _ := rows.Columns()
		var out [][]string
		for rows.Next() {
			v := make([]any, len(cols))
			to := make([]any, len(cols))
			for i := range v {
				to[i] = &v[i]
			}
			if err := rows.Scan(to...); err != nil {
				t.Fatal(err)
			}
			var line []string
			for _, x := range v {
				line = append(line, fmt.Sprintf("%v", x))
			}
			out = append(out, line)
		}
		return out
	}
	out := map[string]string{}
	for _, name := range list(`SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'`) {
		var lines []string
		for _, l := range list(`SELECT * FROM "` + name[0] + `"`) {
			lines = append(lines, strings.Join(l, "|"))
		}
		sort.Strings(lines)
		out[name[0]] = strings.Join(lines, "\n")
	}
	return out
}

// Reading never changes what people said or did. What is computed may be stored
// the first time it is read; the second time nothing at all changes.
func TestReadingChangesNothing(t *testing.T) {
	s := aSite(t, aBook(t))
	s.door.invite(Rider)
	path := paths(t, s)
	computed := map[string]bool{"result": true, "pass": true, "visit": true, "verdict": true, "event": true}
	walk := func(query string) {
		for _, r := range s.routes() {
			method, _, _ := strings.Cut(r.pattern, " ")
			m := method
			if isStream(r.pattern) {
				m = "HEAD"
			}
			p := path[r.pattern]
			if strings.Contains(p, "?") {
				p += "&" + query
			} else {
				p += "?" + query
			}
			if method == "POST" {
				m = "GET" // a form's fields in an address do nothing
			}
			s.crew.do(httptest.NewRequest(m, "http://127.0.0.1:8765"+p, nil))
		}
	}
	before, codes := content(t, s.book.Dir()), fmt.Sprint(s.door.invitations(), s.door.list())
	write := url.Values{"token": {s.crew.token()}, "words": {"into 3 it pushes me on"}, "lap": {"1"}, "word": {"traffic"}, "note": {"x"}, "struck": {"yes"}, "to": {"kept"}, "from": {"loaded"}, "who": {"me"}, "role": {"crew"}, "session": {"all"}, "change": {"B:engine-brake[2] +5"}, "move-gate": {"yes"}}.Encode()
	walk(write)
	between := content(t, s.book.Dir())
	for table, was := range before {
		if !computed[table] && !strings.HasPrefix(table, "words") && between[table] != was {
			t.Errorf("reading changed the table %s", table)
		}
	}
	walk(write)
	for table, is := range content(t, s.book.Dir()) {
		if between[table] != is {
			t.Errorf("reading a second time changed the table %s", table)
		}
	}
	if got := fmt.Sprint(s.door.invitations()); !strings.HasPrefix(codes, got) {
		t.Errorf("reading changed the codes: %s to %s", codes, got)
	}
	if len(s.door.list()) != 1 {
		t.Errorf("reading changed who is in: %d", len(s.door.list()))
	}
}

// The wrong method answers 405 and does nothing.
func TestWrongMethods(t *testing.T) {
	s := aSite(t, aBook(t))
	both := map[string]int{}
	path := paths(t, s)
	for p := range rules {
		_, name, _ := strings.Cut(p, " ")
		both[name]++
	}
	for p := range rules {
		method, name, _ := strings.Cut(p, " ")
		if both[name] > 1 {
			continue
		}
		for _, m := range []string{"PUT", "DELETE", "PATCH", "TRACE", map[string]string{"GET": "POST", "POST": "GET"}[method]} {
			if w := s.crew.do(httptest.NewRequest(m, "http://127.0.0.1:8765"+path[p], nil)); w.Code != http.StatusMethodNotAllowed {
				t.Errorf("%s on %s: %d", m, p, w.Code)
			}
		}
	}
}

var (
	inline  = regexp.MustCompile(`(?i)<[^>]+\s(on[a-z]+|style)\s*=|<style|javascript:|<script(?:\s[^>]*)?>\s*[^<\s]`)
	foreign = regexp.MustCompile(`(?i)(?:src|href|action|data-source)\s*=\s*"(?:[a-z]+:)?//[^"]*"|url\(\s*['"]?(?:[a-z]+:)?//|@import`)
)

// The policy forbids inline scripts and styles and other hosts; a page that has
// them would be broken, so no page may.
func TestEveryPageKeepsThePolicy(t *testing.T) {
	s := aSite(t, aBook(t))
	s.door.invite(Rider)
	s.door.invite(Crew)
	path := paths(t, s)
	want := map[string]string{
		"X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "same-origin",
		"Cross-Origin-Resource-Policy": "same-origin", "Cross-Origin-Opener-Policy": "same-origin",
	}
	html := 0
	for _, r := range s.routes() {
		if !strings.HasPrefix(r.pattern, "GET ") || isStream(r.pattern) {
			continue
		}
		w := s.crew.get(path[r.pattern])
		h := w.Header()
		p := h.Get("Content-Security-Policy")
		for _, part := range []string{"default-src 'none'", "script-src 'self'", "style-src 'self'", "form-action 'self'", "base-uri 'none'", "frame-ancestors 'none'"} {
			if !strings.Contains(p, part) {
				t.Errorf("%s: policy %q lacks %q", r.pattern, p, part)
			}
		}
		if strings.Contains(p, "unsafe") || strings.Contains(p, "http:") || strings.Contains(p, "*") {
			t.Errorf("%s: loose policy %q", r.pattern, p)
		}
		for k, v := range want {
			if h.Get(k) != v {
				t.Errorf("%s: %s is %q", r.pattern, k, h.Get(k))
			}
		}
		if c := h.Get("Cache-Control"); c != "no-store" && !strings.HasPrefix(r.pattern, "GET /assets") {
			t.Errorf("%s: Cache-Control %q", r.pattern, c)
		}
		if !strings.HasPrefix(h.Get("Content-Type"), "text/html") {
			continue
		}
		html++
		body := w.Body.String()
		if m := inline.FindString(body); m != "" {
			t.Errorf("%s: inline script or style: %.120s", r.pattern, m)
		}
		if m := foreign.FindString(body); m != "" {
			t.Errorf("%s: asks another host: %.120s", r.pattern, m)
		}
		if strings.Contains(body, "<b>more</b>") {
			t.Errorf("%s: markup of a person's words slipped through", r.pattern)
		}
	}
	if html < 15 {
		t.Errorf("only %d pages were looked at", html)
	}
	for name, a := range s.files {
		if m := foreign.FindString(string(a.data)); m != "" {
			t.Errorf("asset %s asks another host: %s", name, m)
		}
	}
}
