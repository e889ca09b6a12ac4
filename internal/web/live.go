package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"sync"
	"time"
)

// maxStreams bounds how many pages listen at once.
const maxStreams = 300

// events streams what changes in the book. A reader that lost its connection
// says with Last-Event-ID what it saw last, and gets everything after it once.
func (s *server) events(w http.ResponseWriter, r *http.Request) {
	if s.streams.Add(1) > maxStreams {
		s.streams.Add(-1)
		http.Error(w, "too many pages listen already", http.StatusServiceUnavailable)
		return
	}
	defer s.streams.Add(-1)
	// A subscription first, the question what is new second: nothing can fall
	// between the two.
	news, stop := s.book.Subscribe()
	defer stop()
	after, err := strconv.ParseInt(r.Header.Get("Last-Event-ID"), 10, 64)
	if err != nil {
		if after, err = strconv.ParseInt(r.URL.Query().Get("after"), 10, 64); err != nil {
			if after, err = s.book.LastEvent(); err != nil {
				s.fail(w, r, err)
				return
			}
		}
	}
	out := stream(w)
	fmt.Fprint(w, "retry: 1500\n\n")
	tick := time.NewTicker(15 * time.Second)
	defer tick.Stop()
	for {
		list, err := s.book.Events(after)
		if err != nil {
			s.log.Error("events", "error", err)
			return
		}
		for _, e := range list {
			b, err := json.Marshal(e)
			if err != nil {
				return
			}
			fmt.Fprintf(w, "id: %d\nevent: book\ndata: %s\n\n", e.Seq, b)
			after = e.Seq
		}
		if out() != nil {
			return
		}
		if len(list) > 0 {
			continue // there may be more than one answer holds
		}
		select {
		case <-r.Context().Done():
			return
		case <-s.closing:
			return
		case <-news:
		case <-tick.C:
			// A session that was ended hears nothing more.
			if role, _ := s.role(r); role == Nobody {
				return
			}
			fmt.Fprint(w, ": still here\n\n")
		}
	}
}

// stream starts an event stream and returns how to send what was written.
func stream(w http.ResponseWriter) func() error {
	h := w.Header()
	h.Set("Content-Type", "text/event-stream; charset=utf-8")
	h.Set("X-Accel-Buffering", "no")
	c := http.NewResponseController(w)
	return func() error {
		c.SetWriteDeadline(time.Now().Add(30 * time.Second)) //nolint:errcheck // a writer without deadlines is a test's
		return c.Flush()
	}
}

// job is one upload in hand.
type job struct {
	mu    sync.Mutex
	stage string
	share float64
	done  bool
	seen  time.Time
}

func (j *job) set(stage string, share float64, done bool) {
	j.mu.Lock()
	j.stage, j.share, j.done, j.seen = stage, share, done, time.Now()
	j.mu.Unlock()
}

// startJob makes a job under the name that its page chose.
func (s *server) startJob(name string) *job {
	j := &job{seen: time.Now()}
	if name == "" || len(name) > 40 {
		return j
	}
	s.jobs.Range(func(k, v any) bool {
		old := v.(*job)
		old.mu.Lock()
		gone := time.Since(old.seen) > 30*time.Minute
		old.mu.Unlock()
		if gone {
			s.jobs.Delete(k)
		}
		return true
	})
	s.jobs.Store(name, j)
	return j
}

// progress streams how far an upload is.
func (s *server) progress(w http.ResponseWriter, r *http.Request) {
	out := stream(w)
	last := ""
	for i := 0; i < 20*60*10; i++ {
		text, done := `{"stage":"waiting","share":0}`, false
		if v, ok := s.jobs.Load(r.PathValue("job")); ok {
			j := v.(*job)
			j.mu.Lock()
			b, err := json.Marshal(map[string]any{"stage": j.stage, "share": j.share, "done": j.done})
			done = j.done
			j.mu.Unlock()
			if err != nil {
				return
			}
			text = string(b)
		}
		if text != last {
			fmt.Fprintf(w, "event: progress\ndata: %s\n\n", text)
			if out() != nil {
				return
			}
			last = text
		}
		if done {
			return
		}
		select {
		case <-r.Context().Done():
			return
		case <-s.closing:
			return
		case <-time.After(100 * time.Millisecond):
		}
	}
}
