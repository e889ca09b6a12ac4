package web

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"runtime"
	"sort"
	"strings"
	"testing"
	"time"
)

// seedRequest is a request that is in order, in the parts that get mutated.
type seedRequest struct {
	method, path string
	query, form  url.Values
	headers      [][2]string
	file         []byte // of a multipart form
	fileKey      string
}

// seedForms are the fields that each form knows, filled in sensibly.
var seedForms = map[string]url.Values{
	"POST /run/{run}/remark":       {"words": {"into 3 it pushes me on"}, "says": {"pushes-on"}, "turn": {"3"}, "phase": {"entry"}, "strength": {"2"}, "rider": {"Ada"}, "key": {"k"}, "from": {"phone"}},
	"POST /run/{run}/lap":          {"lap": {"2"}, "word": {"traffic"}, "who": {"me"}},
	"POST /run/{run}/told":         {"tyre": {"set 2"}, "weather": {"dry"}, "note": {"a note"}, "who": {"me"}},
	"POST /remark/{remark}/strike": {"struck": {"yes"}, "who": {"me"}},
	"POST /run/{run}/step/{ref}":   {"from": {"2"}, "change": {"B:engine-brake[2] +5"}, "author": {"Eve"}, "reason": {"more drag"}, "measure": {"segment"}, "turn": {"3"}, "expect": {"less"}, "matters": {"0.05"}, "surface": {"dry"}, "tyre": {"warm"}, "air": {"20 C"}, "why": {"now"}, "overrule-one-at-a-time": {"because"}},
	"POST /step/{step}/state":      {"from": {"loaded"}, "to": {"kept"}, "who": {"me"}, "reason": {"better"}},
	"POST /map/{hash}":             {"channel-0": {"time"}, "unit-0": {"s"}, "channel-1": {"front_speed"}, "unit-1": {"km/h"}, "bike": {"Heron 998"}},
	"POST /circuit/{circuit}":      {"number-0": {"1"}, "name-0": {"First"}, "kink-0": {"yes"}, "drop-1": {"yes"}, "move-gate": {"yes"}, "lat": {"45.1"}, "lon": {"9.2"}, "heading": {"90"}},
	"POST /you":                    {"name": {"Ada"}, "theme": {"dark"}, "speed": {"mph"}, "pressure": {"psi"}, "temp": {"°F"}, "torque": {"lbf·ft"}, "back": {"/run/1"}},
	"POST /share/invite":           {"role": {"rider"}, "address": {"http://192.0.2.1:8765"}},
	"POST /share/end":              {"session": {"nobody"}},
	"POST /join":                   {"code": {"23456789"}, "name": {"Ada"}, "then": {"/run/1"}, "kept": {"/run/1/remark"}, "kept.words": {"kept"}},
	"POST /leave":                  {},
	"POST /add":                    {"bike": {"Heron 998"}, "circuit": {""}, "slot": {"A"}, "tyre": {"set 1"}, "weather": {"dry"}, "note": {"n"}, "job": {"j1"}},
	"POST /bikes":                  {},
	"POST /add/watch":              {"what": {"sticks"}, "bike": {"Heron 998"}},
	"POST /add/unwatch":            {},
}

var seedQueries = map[string]url.Values{
	"GET /run/{run}/traces":             {"lap": {"1", "2"}, "from": {"100"}, "over": {"time"}, "run": {"2"}, "lap2": {"1"}},
	"GET /run/{run}/trace.bin":          {"lap": {"1", "2"}, "from": {"100"}, "to": {"900"}, "width": {"800"}},
	"GET /run/{run}/debrief.pdf":        {"size": {"Letter"}},
	"GET /step/{step}/sheet.pdf":        {"size": {"A4"}},
	"GET /step/{step}/plan":             {"effect": {"0.08"}, "minutes": {"20"}},
	"GET /run/{run}/step/{ref}":         {"change": {"B:engine-brake[2] +5"}},
	"GET /season":                       {"circuit": {"x"}, "turn": {"3"}, "measure": {"segment"}, "bike": {""}, "slot": {"A"}},
	"GET /phone/{run}":                  {"turn": {"3"}, "says": {"pushes-on"}, "said": {""}},
	"GET /you":                          {"back": {"/run/1"}, "saved": {""}},
	"GET /join":                         {"then": {"/run/1"}},
	"GET /events":                       {"after": {"0"}},
	"GET /share":                        {"address": {"http://192.0.2.1:8765"}},
	"GET /meeting/{meeting}/report.pdf": {"size": {"a4"}},
}

// nasty are values that have broken programs before.
var nasty = []string{
	"", "0", "-1", "1", "2147483648", "-9223372036854775808", "99999999999999999999", "1e309", "-1e-400", "NaN", "Inf", "0x10", "1_0", "٣", "1,5", " 3 ", "3;4", "3,3", "1,2,3,4,5,6,7,8,9",
	"'", "' OR 1=1 --", "\"; DROP TABLE run; --", "%", "%00", "%zz", "\x00", "\xff\xfe", "\u202e", "𝕏", "é", strings.Repeat("a", 5000), strings.Repeat("(", 2000), strings.Repeat("B:", 500), "../..", "..%2f..", "/", "\\", "//evil.example", "<script>alert(1)</script>", "{{.}}", "${x}", "\r\nX-Injected: yes", "last", "own", "r1.1", "r1.0", "r1.-1", "r1.99999999999",
	"B:slip-target[45..50, 80..110] +1", "B:engine-brake[9] +10", "B:[", "A:engine-brake[2] +1e300", "B:engine-brake[-1] -5", ":", "B:engine-brake[2] +NaN", "[[column]]", "nan", "true", "null", "[]", "{}",
}

// mutate changes a request in one to four ways.
func mutate(rng *rand.Rand, s seedRequest, host string) []byte {
	pick := func() string { return nasty[rng.IntN(len(nasty))] }
	cp := func(v url.Values) url.Values {
		out := url.Values{}
		for k, x := range v {
			out[k] = append([]string(nil), x...)
		}
		return out
	}
	keys := func(v url.Values) []string {
		var out []string
		for k := range v {
			out = append(out, k)
		}
		sort.Strings(out)
		return out
	}
	s.query, s.form = cp(s.query), cp(s.form)
	s.headers = append([][2]string(nil), s.headers...)
	kind := "application/x-www-form-urlencoded"
	length := -1
	var raws []func([]byte) []byte
	for range 1 + rng.IntN(4) {
		way := rng.IntN(40)
		if way > 15 {
			way %= 13 // bytes changed anywhere mostly make no request at all
		}
		switch way {
		case 0:
			s.method = []string{"GET", "POST", "HEAD", "PUT", "DELETE", "OPTIONS", "CONNECT", "get", "GETT", "\x00"}[rng.IntN(10)]
		case 1, 2: // a part of the path
			parts := strings.Split(s.path, "/")
			parts[rng.IntN(len(parts))] = []string{pick(), url.PathEscape(pick()), url.PathEscape(pick()), url.PathEscape(pick())}[rng.IntN(4)]
			s.path = strings.Join(parts, "/")
		case 3, 4, 5: // a field of the form
			if k := keys(s.form); len(k) > 0 {
				s.form[k[rng.IntN(len(k))]] = []string{pick()}
			}
		case 6:
			if k := keys(s.form); len(k) > 0 {
				n := k[rng.IntN(len(k))]
				switch rng.IntN(3) {
				case 0:
					s.form.Del(n)
				case 1:
					s.form.Add(n, pick())
				case 2:
					s.form[pick()] = []string{pick()}
				}
			}
		case 7, 8: // a value of the query
			if k := keys(s.query); len(k) > 0 {
				s.query[k[rng.IntN(len(k))]] = []string{pick()}
			} else {
				s.query[pick()] = []string{pick()}
			}
		case 9:
			h := [][2]string{{"Host", pick()}, {"Origin", pick()}, {"Cookie", pick()}, {"Cookie", "cw_session=" + strings.Repeat("f", 64)}, {"Cookie", "cw_name=%zz; cw_theme=" + pick()}, {"Accept-Encoding", "gzip;q=0, br"}, {"Range", "bytes=0-1,5-"}, {"If-None-Match", pick()}, {"Last-Event-ID", pick()}, {"Accept", "application/json"}, {"Accept", pick()}, {"Transfer-Encoding", "chunked"}, {"Expect", "100-continue"}, {"Upgrade", "h2c"}, {"X-Forwarded-For", "127.0.0.1"}, {"Content-Type", pick()}, {"Sec-Fetch-Site", pick()}, {"X-Http-Method-Override", "POST"}, {"Big", strings.Repeat("x", 40<<10)}}
			s.headers = append(s.headers, h[rng.IntN(len(h))])
		case 10:
			kind = []string{"multipart/form-data", "multipart/form-data; boundary=x", "text/plain", "application/json", "", "application/x-www-form-urlencoded; charset=utf-16", pick()}[rng.IntN(7)]
		case 11:
			length = []int{0, 1, 1 << 20, 1 << 40, rng.IntN(200)}[rng.IntN(5)]
		case 12: // the file
			if f := append([]byte(nil), s.file...); len(f) > 0 {
				switch rng.IntN(4) {
				case 0:
					f = f[:rng.IntN(len(f))]
				case 1:
					for range 20 {
						f[rng.IntN(len(f))] = byte(rng.IntN(256))
					}
				case 2:
					f = append([]byte([]string{"PK\x03\x04", "\x1f\x8b\x08", "\x28\xb5\x2f\xfd", "PAR1", "\xef\xbb\xbf", "\xff\xfe"}[rng.IntN(6)]), f...)
				case 3:
					f = []byte(pick())
				}
				s.file = f
			}
		case 13, 14: // bytes of the whole
			raws = append(raws, func(b []byte) []byte {
				for range 1 + rng.IntN(8) {
					b[rng.IntN(len(b))] = byte(rng.IntN(256))
				}
				return b
			})
		case 15:
			raws = append(raws, func(b []byte) []byte {
				i, j := rng.IntN(len(b)), rng.IntN(len(b))
				if i > j {
					i, j = j, i
				}
				if rng.IntN(2) == 0 {
					return append(append([]byte(nil), b[:i]...), b[j:]...) // a piece lost
				}
				return append(append(append([]byte(nil), b[:j]...), b[i:j]...), b[j:]...) // a piece twice
			})
		}
	}
	var body bytes.Buffer
	if s.fileKey != "" {
		if kind == "application/x-www-form-urlencoded" {
			kind = "multipart/form-data; boundary=edge"
		}
		for _, k := range keys(s.form) {
			fmt.Fprintf(&body, "--edge\r\nContent-Disposition: form-data; name=\"%s\"\r\n\r\n%s\r\n", k, s.form.Get(k))
		}
		fmt.Fprintf(&body, "--edge\r\nContent-Disposition: form-data; name=\"%s\"; filename=\"%s\"\r\n\r\n%s\r\n--edge--\r\n", s.fileKey, []string{"a.csv", "../a", "", pick()}[rng.IntN(4)], s.file)
	} else if s.method != "GET" && s.method != "HEAD" {
		body.WriteString(s.form.Encode())
	}
	if length < 0 {
		length = body.Len()
	}
	target := s.path
	if len(s.query) > 0 {
		target += "?" + s.query.Encode()
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s %s HTTP/1.1\r\nHost: %s\r\n", s.method, target, host)
	for _, h := range s.headers {
		fmt.Fprintf(&b, "%s: %s\r\n", h[0], h[1])
	}
	if length > 0 || s.method == "POST" {
		fmt.Fprintf(&b, "Content-Type: %s\r\nContent-Length: %d\r\n", kind, length)
	}
	b.WriteString("\r\n")
	b.Write(body.Bytes())
	raw := b.Bytes()
	for _, f := range raws {
		if len(raw) > 0 {
			raw = f(raw)
		}
	}
	return raw
}

// seedsOf are requests in order for every route, as one person sends them.
func seedsOf(t *testing.T, s *site, p *person) []seedRequest {
	t.Helper()
	path := paths(t, s)
	run := smallRun(5)
	tok := p.token()
	var out []seedRequest
	for _, r := range s.routes() {
		method, _, _ := strings.Cut(r.pattern, " ")
		where, q, _ := strings.Cut(path[r.pattern], "?")
		x := seedRequest{method: method, path: where, query: url.Values{}, form: url.Values{}}
		if q != "" {
			x.query, _ = url.ParseQuery(q)
		}
		for k, v := range seedQueries[r.pattern] {
			x.query[k] = v
		}
		if method == "POST" {
			form, ok := seedForms[r.pattern]
			if !ok {
				t.Fatalf("no sensible form is known for %s: add it to seedForms", r.pattern)
			}
			for k, v := range form {
				x.form[k] = v
			}
			x.form.Set("token", tok)
			switch r.pattern {
			case "POST /add":
				x.fileKey, x.file = "recording", run[:6000]
			case "POST /bikes":
				k, err := s.book.Bike("")
				if err != nil {
					t.Fatal(err)
				}
				x.fileKey, x.file = "file", k.Bike.Source
			}
		}
		for _, c := range p.cookies {
			x.headers = append(x.headers, [2]string{"Cookie", c.Name + "=" + c.Value})
		}
		x.headers = append(x.headers, [2]string{"Accept", "text/html"})
		out = append(out, x)
	}
	return out
}

// whole tells whether a request has all the bytes that it announces.
func whole(raw []byte) bool {
	r, err := http.ReadRequest(bufio.NewReader(bytes.NewReader(raw)))
	if err != nil {
		return bytes.Contains(raw, []byte("\r\n\r\n")) // refused at once, but only once the header has an end
	}
	_, err = io.Copy(io.Discard, r.Body)
	return err == nil
}

// speak sends raw bytes and reads what is answered, at most a megabyte; status 0
// is no answer in the form of one.
func speak(addr string, raw []byte) (status int, body []byte, err error) {
	c, err := net.Dial("tcp", addr)
	if err != nil {
		return 0, nil, err
	}
	defer c.Close()
	c.SetDeadline(time.Now().Add(30 * time.Second)) //nolint:errcheck // a fresh socket takes it
	go func() {
		c.Write(raw) //nolint:errcheck // the server may close while it is sent
		// Where more is announced than there is, the end is said; elsewhere the
		// server would take it for a reader who has left.
		if !whole(raw) {
			c.(*net.TCPConn).CloseWrite() //nolint:errcheck // likewise
		}
	}()
	in := bufio.NewReader(c)
	method, _, _ := strings.Cut(string(raw), " ")
	for {
		r, err := http.ReadResponse(in, &http.Request{Method: method}) // the answer to HEAD has no body
		if err != nil {
			return status, nil, nil
		}
		status = r.StatusCode
		if status == http.StatusContinue {
			continue
		}
		if strings.HasPrefix(r.Header.Get("Content-Type"), "text/event-stream") {
			return status, nil, nil
		}
		body, _ = io.ReadAll(io.LimitReader(r.Body, 1<<20))
		return status, body, nil
	}
}

// Mutated requests through every route, as nobody, rider and crew, over real
// sockets: no crash, no 5xx, memory bounded. With CORNERWRIGHT_FULL=1 there are
// ten thousand of them.
func TestMutatedRequests(t *testing.T) {
	n := 1500
	if testing.Short() {
		n = 300
	}
	if full() {
		n = 10000
	}
	const each = 1000 // requests on one copy of the book
	rng := rand.New(rand.NewPCG(20, 26))
	status := map[int]int{}
	var peak uint64
	routes := 0
	for done := 0; done < n; {
		b := aBook(t)
		l := &logged{}
		r := aServer(t, b, Options{Share: true, Log: l.logger()})
		addr := strings.TrimPrefix(r.base, "http://")
		people := []*person{r.nobody, r.rider, r.crew, r.crew}
		var seeds [][]seedRequest
		for _, p := range people {
			seeds = append(seeds, seedsOf(t, r.site, p))
		}
		routes = len(seeds[0])
		for i := 0; i < each && done < n; i++ {
			done++
			k := i % len(people)
			if k == 1 && i%40 == 1 && r.door.who(&http.Request{Header: http.Header{"Cookie": {r.rider.cookies[0].Name + "=" + r.rider.cookies[0].Value}}}) == nil {
				// A mutated request ended the rider's session, as it may.
				r.rider = r.enter(Rider, "Ada")
				people[1] = r.rider
				seeds[1] = seedsOf(t, r.site, r.rider)
			}
			raw := mutate(rng, seeds[k][rng.IntN(len(seeds[k]))], addr)
			code, body, err := speak(addr, raw)
			if err != nil {
				t.Fatalf("the server does not answer any more after %d requests: %v", done, err)
			}
			status[code]++
			left := !whole(raw) && strings.Contains(string(body), "was left before it was made")
			if code >= 500 && !left {
				t.Errorf("answered %d: %.300s\nto %.600q\nlog: %s", code, body, raw, tail(l.String()))
			}
			if strings.Contains(string(body), "<script>alert(1)") {
				t.Errorf("markup slipped through, to %.600q", raw)
			}
			if i%50 == 0 {
				var m runtime.MemStats
				runtime.ReadMemStats(&m)
				peak = max(peak, m.HeapInuse)
			}
		}
		waitFor(t, "requests to end", func() bool { return len(r.work) == 0 && len(r.uploads) == 0 })
		if strings.Contains(l.String(), `"msg":"panic"`) {
			t.Errorf("a request panicked: %s", l.String()[strings.Index(l.String(), `"msg":"panic"`):])
		}
		if err := r.stop(); err != nil {
			t.Error(err)
		}
		if n := r.streams.Load(); n != 0 {
			t.Errorf("%d streams are counted after the stop", n)
		}
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	}
	if peak > 500<<20 {
		t.Errorf("the heap grew to %d MB", peak>>20)
	}
	if status[200] < n/20 || status[303] == 0 || status[403] == 0 || status[422] == 0 || status[404] == 0 {
		t.Errorf("the requests did not get far: %v", status)
	}
	t.Logf("%d mutated requests over %d routes, answers by status %v, heap at most %d MB", n, routes, status, peak>>20)
}

func tail(s string) string {
	if len(s) > 2000 {
		return s[len(s)-2000:]
	}
	return s
}
