package web

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"sync"
	"time"

	"cornerwright/internal/book"
)

// maxStreams bounds how many pages listen at once, maxEach how many of one
// session do.
const (
	maxStreams = 400
	maxEach    = 16
)

// events streams what changes in the book. Every event has the book's own
// number: a reader that lost its connection says with Last-Event-ID what it saw
// last, and gets everything after it once (HTML standard, server-sent events).
func (s *server) events(w http.ResponseWriter, r *http.Request) {
	out := stream(w)
	if r.Method == http.MethodHead {
		return
	}
	role, ss := s.role(r)
	if !s.listen(ss, 1) {
		// Not an error status: a browser would never try again.
		fmt.Fprint(w, "retry: 20000\n\n") //nolint:errcheck // the reader may have gone
		out()                             //nolint:errcheck // likewise
		return
	}
	defer s.listen(ss, -1)
	var gone chan struct{}
	if ss != nil {
		gone = ss.gone
	}
	// A subscription first, the question what is new second: nothing can fall
	// between the two.
	news, stop := s.book.Subscribe()
	defer stop()
	last, err := s.book.LastEvent()
	if err != nil {
		s.log.Error("events", "error", err)
		return
	}
	after := last
	for _, v := range []string{r.URL.Query().Get("after"), r.Header.Get("Last-Event-ID")} {
		if n, err := strconv.ParseInt(v, 10, 64); err == nil && n >= 0 {
			after = n
		}
	}
	fmt.Fprint(w, "retry: 1500\n\n") //nolint:errcheck // told by out
	if after > last {
		// The reader knows of events that this book never had: it was another book,
		// or an older copy was restored. Its page is of no use any more.
		fmt.Fprintf(w, "id: %d\nevent: other\ndata: {}\n\n", last) //nolint:errcheck // told by out
		after = last
	}
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
				s.log.Error("events", "error", err)
				return
			}
			fmt.Fprintf(w, "id: %d\nevent: book\ndata: %s\n\n", e.Seq, b) //nolint:errcheck // told by out
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
			fmt.Fprint(w, "event: stopped\ndata: {}\n\n") //nolint:errcheck // the last word
			out()                                         //nolint:errcheck // likewise
			return
		case <-gone:
			fmt.Fprint(w, "event: over\ndata: {}\n\n") //nolint:errcheck // likewise
			out()                                      //nolint:errcheck // likewise
			return
		case _, open := <-news:
			if !open {
				return // the book was closed
			}
		case <-tick.C:
			// A session that ran out hears nothing more.
			if now, _ := s.role(r); now < role {
				return
			}
			fmt.Fprint(w, ": still here\n\n") //nolint:errcheck // told by out
		}
	}
}

// listen counts a stream in (1) or out (-1); false where there are too many.
func (s *server) listen(ss *session, by int64) bool {
	if by > 0 && ss != nil && !s.door.hear(ss.ID, 1) {
		return false
	}
	if by < 0 && ss != nil {
		s.door.hear(ss.ID, -1)
	}
	if s.streams.Add(by) > maxStreams && by > 0 {
		s.listen(ss, -1)
		return false
	}
	return true
}

// hear counts the streams of one session.
func (d *door) hear(id string, by int) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, s := range d.sessions {
		if s.ID == id {
			if by > 0 && s.ears >= maxEach {
				return false
			}
			s.ears += by
		}
	}
	return true
}

// stream starts an event stream and returns how to send what was written. A
// stream has no end of its own, but whoever takes nothing for half a minute is
// let go.
func stream(w http.ResponseWriter) func() error {
	h := w.Header()
	h.Set("Content-Type", "text/event-stream; charset=utf-8")
	h.Set("X-Accel-Buffering", "no")
	c := http.NewResponseController(w)
	c.SetReadDeadline(time.Time{})                                           //nolint:errcheck // a writer without deadlines is a test's
	until := func() { c.SetWriteDeadline(time.Now().Add(30 * time.Second)) } //nolint:errcheck // likewise
	until()
	return func() error {
		err := c.Flush()
		until()
		return err
	}
}

// stages of an adding, as the book names them; scripts say them.
var stages = []string{"reading", "finding laps and turns", "storing", "done"}

// job is one upload in hand.
type job struct {
	mu   sync.Mutex
	at   book.AddProgress
	done bool
	seen time.Time
}

func (j *job) set(at book.AddProgress, done bool) {
	j.mu.Lock()
	j.at, j.done, j.seen = at, done, time.Now()
	j.mu.Unlock()
}

// startJob makes a job under the name that its page chose.
func (s *server) startJob(name string) *job {
	j := &job{seen: time.Now()}
	if name == "" || len(name) > 40 {
		return j
	}
	n := 0
	s.jobs.Range(func(k, v any) bool {
		old := v.(*job)
		old.mu.Lock()
		gone := time.Since(old.seen) > 30*time.Minute
		old.mu.Unlock()
		if n++; gone || n > 200 {
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
	if r.Method == http.MethodHead {
		return
	}
	_, ss := s.role(r)
	if !s.listen(ss, 1) {
		return
	}
	defer s.listen(ss, -1)
	last, began := "", time.Now()
	for time.Since(began) < uploadTime {
		text, done := `{"stage":"waiting","share":0}`, false
		v, ok := s.jobs.Load(r.PathValue("job"))
		if !ok && time.Since(began) > time.Minute {
			return // no such upload came
		}
		if ok {
			j := v.(*job)
			j.mu.Lock()
			b, err := json.Marshal(map[string]any{"stage": j.at.Stage, "share": j.at.Share, "bytes": j.at.Bytes, "size": j.at.Size, "rows": j.at.Rows, "left_s": math.Ceil(j.at.Left.Seconds()), "done": j.done})
			done = j.done
			j.mu.Unlock()
			if err != nil {
				return
			}
			text = string(b)
		}
		if text != last {
			fmt.Fprintf(w, "event: progress\ndata: %s\n\n", text) //nolint:errcheck // told by out
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
