package web

import (
	"net"
	"net/http"
	"sort"
	"sync"
	"time"
)

// told is what the log says about one request, gathered while it is answered.
type told struct {
	http.ResponseWriter
	status int
	bytes  int64
	role   Role
	route  string
	stream bool
}

func (t *told) WriteHeader(status int) {
	if t.status == 0 {
		t.status = status
	}
	t.ResponseWriter.WriteHeader(status)
}

func (t *told) Write(p []byte) (int, error) {
	if t.status == 0 {
		t.status = http.StatusOK
	}
	n, err := t.ResponseWriter.Write(p)
	t.bytes += int64(n)
	return n, err
}

// Unwrap lets http.ResponseController reach the connection.
func (t *told) Unwrap() http.ResponseWriter { return t.ResponseWriter }

// note writes a request into the log and the gauge.
func (s *server) note(w *told, r *http.Request, took time.Duration) {
	status := w.status
	if status == 0 {
		status = http.StatusOK
	}
	from, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		from = r.RemoteAddr
	}
	s.log.Info("request", "method", short(r.Method), "path", short(r.URL.Path), "status", status, "bytes", w.bytes, "ms", float64(took.Microseconds())/1000, "role", w.role.String(), "from", from)
	s.gauge.add(status, took, w.stream || w.route == "POST /add")
}

// gauge counts what the status page shows.
type gauge struct {
	mu       sync.Mutex
	requests int64
	refused  int64 // 4xx
	failed   int64 // 5xx
	panics   int64
	recent   [1024]time.Duration
	n        int
}

func (g *gauge) add(status int, took time.Duration, long bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.requests++
	switch {
	case status >= 500:
		g.failed++
	case status >= 400:
		g.refused++
	}
	if !long {
		g.recent[g.n%len(g.recent)] = took
		g.n++
	}
}

func (g *gauge) panicked() {
	g.mu.Lock()
	g.panics++
	g.mu.Unlock()
}

// served is the gauge at one moment. Mid and P95 are the answer times that half
// and 95 % of the last thousand requests kept to, in ms.
type served struct {
	Requests, Refused, Failed, Panics int64
	Mid, P95                          float64
}

func (g *gauge) now() served {
	g.mu.Lock()
	defer g.mu.Unlock()
	out := served{Requests: g.requests, Refused: g.refused, Failed: g.failed, Panics: g.panics}
	n := min(g.n, len(g.recent))
	if n == 0 {
		return out
	}
	v := append([]time.Duration(nil), g.recent[:n]...)
	sort.Slice(v, func(i, j int) bool { return v[i] < v[j] })
	out.Mid, out.P95 = float64(v[n/2].Microseconds())/1000, float64(v[min(n-1, n*95/100)].Microseconds())/1000
	return out
}
