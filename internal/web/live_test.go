package web

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"cornerwright/internal/book"
)

// heard is one message of an event stream.
type heard struct {
	id   int64
	kind string
	data string
}

// ear listens to a stream.
type ear struct {
	body io.Closer
	got  chan heard
}

// listenTo opens an event stream; last is what was heard before, "" for nothing.
func listenTo(t testing.TB, c *http.Client, u, last string, cookies ...*http.Cookie) *ear {
	t.Helper()
	e, err := listen(c, u, last, cookies...)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func listen(c *http.Client, u, last string, cookies ...*http.Cookie) (*ear, error) {
	req, err := http.NewRequest("GET", u, nil)
	if err != nil {
		return nil, err
	}
	if last != "" {
		req.Header.Set("Last-Event-ID", last)
	}
	for _, k := range cookies {
		req.AddCookie(k)
	}
	r, err := c.Do(req)
	if err != nil {
		return nil, err
	}
	if r.StatusCode != 200 || !strings.HasPrefix(r.Header.Get("Content-Type"), "text/event-stream") {
		r.Body.Close()
		return nil, fmt.Errorf("status %d, %s", r.StatusCode, r.Header.Get("Content-Type"))
	}
	e := &ear{body: r.Body, got: make(chan heard, 4096)}
	go func() {
		defer close(e.got)
		in := bufio.NewScanner(r.Body)
		var h heard
		for in.Scan() {
			key, v, _ := strings.Cut(in.Text(), ": ")
			switch key {
			case "id":
				h.id, _ = strconv.ParseInt(v, 10, 64)
			case "event":
				h.kind = v
			case "data":
				h.data = v
			case "":
				// Only a message that arrived whole counts, as in a browser.
				if h.kind != "" {
					e.got <- h
				}
				h = heard{}
			}
		}
	}()
	return e, nil
}

func (e *ear) close() { e.body.Close() }

func (e *ear) next(t testing.TB) heard {
	t.Helper()
	select {
	case h, ok := <-e.got:
		if !ok {
			t.Fatal("the stream ended")
		}
		return h
	case <-time.After(20 * time.Second):
		t.Fatal("nothing was heard for 20 s")
	}
	return heard{}
}

// ended tells whether the stream ends, whatever it says before.
func (e *ear) ended(t testing.TB) bool {
	t.Helper()
	for {
		select {
		case _, ok := <-e.got:
			if !ok {
				return true
			}
		case <-time.After(20 * time.Second):
			return false
		}
	}
}

// A remark entered on the phone is told to the crew's page, with its number; who
// comes back with that number hears only what is newer.
func TestARemarkIsTold(t *testing.T) {
	b := aBook(t)
	r := aServer(t, b, Options{Share: true})
	last, err := b.LastEvent()
	if err != nil {
		t.Fatal(err)
	}
	ev := listenTo(t, http.DefaultClient, r.base+"/events?after="+fmt.Sprint(last), "")
	if w := r.rider.sign("/run/2/remark", url.Values{"words": {"into 3 it pushes me on"}, "key": {"a"}}); w.Code != http.StatusSeeOther {
		t.Fatal(w.Code)
	}
	h := ev.next(t)
	var e book.Event
	if err := json.Unmarshal([]byte(h.data), &e); err != nil || h.kind != "book" || e.Kind != "remark" || e.Run != 2 || e.Seq != h.id || h.id != last+1 {
		t.Fatalf("heard %+v, %v", h, err)
	}
	ev.close()
	if w := r.rider.sign("/run/2/remark", url.Values{"words": {"into 3 it pushes me on"}, "key": {"a"}}); w.Code != http.StatusSeeOther {
		t.Fatal(w.Code)
	}
	r.rider.sign("/run/2/remark", url.Values{"says": {"spins"}, "turn": {"2"}, "key": {"b"}})
	ev = listenTo(t, http.DefaultClient, r.base+"/events?after=0", fmt.Sprint(h.id))
	if g := ev.next(t); g.id != h.id+1 {
		t.Errorf("after %d came %d: the doubled remark must make no event", h.id, g.id)
	}
	ev.close()
	// A reader of another book is told so instead of waiting for ever.
	ev = listenTo(t, http.DefaultClient, r.base+"/events", "999999")
	if g := ev.next(t); g.kind != "other" {
		t.Errorf("heard %+v", g)
	}
	ev.close()
}

// A session that is ended hears no more, at once.
func TestAnEndedSessionHearsNothing(t *testing.T) {
	b := aBook(t)
	r := aServer(t, b, Options{Share: true})
	ev := listenTo(t, http.DefaultClient, r.base+"/events", "", r.rider.cookies...)
	r.door.end("all")
	if h := ev.next(t); h.kind != "over" {
		t.Errorf("heard %+v", h)
	}
	if !ev.ended(t) {
		t.Error("the stream goes on")
	}
	// More streams than one session may have end at once, and say to wait.
	p := r.enter(Rider, "Bea")
	var open []*ear
	for range maxEach {
		open = append(open, listenTo(t, http.DefaultClient, r.base+"/events?after=0", "", p.cookies...))
	}
	for _, e := range open {
		e.next(t)
	}
	if e := listenTo(t, http.DefaultClient, r.base+"/events?after=0", "", p.cookies...); !e.ended(t) {
		t.Error("one stream too many")
	}
	for _, e := range open {
		e.close()
	}
	waitFor(t, "the streams to be counted out", func() bool { return r.streams.Load() == 0 })
}

// dropper stands between phones and server and breaks connections off, in the
// middle of requests, answers and messages.
type dropper struct {
	net.Listener
	to   string
	each bool // every connection breaks, in its answer
	mu   sync.Mutex
	rng  *rand.Rand
	cuts int
}

func newDropper(t *testing.T, to string, seed uint64, each bool) *dropper {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	d := &dropper{Listener: l, to: to, each: each, rng: rand.New(rand.NewPCG(seed, 1))}
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go d.serve(c)
		}
	}()
	t.Cleanup(func() { l.Close() })
	return d
}

func (d *dropper) serve(c net.Conn) {
	defer c.Close()
	s, err := net.Dial("tcp", d.to)
	if err != nil {
		return
	}
	defer s.Close()
	d.mu.Lock()
	up, down := int64(1<<40), int64(1<<40)
	switch n := d.rng.IntN(4); {
	case d.each:
		down = 300 + int64(d.rng.IntN(1500))
	case n == 0:
		up = int64(d.rng.IntN(900)) // the request is cut
	case n == 1:
		down = int64(d.rng.IntN(2500)) // the answer is cut: it was done, and nobody knows
	}
	if up+down < 1<<41 {
		d.cuts++
	}
	d.mu.Unlock()
	done := make(chan struct{}, 2)
	go func() { io.CopyN(s, c, up); done <- struct{}{} }()
	go func() { io.CopyN(c, s, down); done <- struct{}{} }()
	<-done
}

// Phones say remarks over a network that breaks connections; each tries until it
// gets an answer, with the same key. A listener loses its stream again and
// again. Nothing is lost, nothing comes twice, on either side.
func TestDroppedConnections(t *testing.T) {
	phones, each := 4, 6
	if full() {
		phones, each = 12, 40
	}
	b := aBook(t)
	r := aServer(t, b, Options{Share: true})
	d := newDropper(t, strings.TrimPrefix(r.base, "http://"), 7, false)
	through := "http://" + d.Addr().String()
	thin := newDropper(t, strings.TrimPrefix(r.base, "http://"), 8, true)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	from, err := b.LastEvent()
	if err != nil {
		t.Fatal(err)
	}
	var heardIDs []int64
	ended := make(chan struct{})
	drops := 0
	var last atomic.Int64
	last.Store(from)
	go func() {
		defer close(ended)
		c := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
		for ctx.Err() == nil {
			e, err := listen(c, "http://"+thin.Addr().String()+"/events?after="+fmt.Sprint(from), fmt.Sprint(last.Load()))
			if err != nil {
				drops++
				continue
			}
		stream:
			for {
				select {
				case h, ok := <-e.got:
					if !ok {
						drops++
						break stream
					}
					if h.kind == "book" {
						heardIDs = append(heardIDs, h.id)
						last.Store(h.id)
					}
				case <-ctx.Done():
					break stream
				}
			}
			e.close()
		}
	}()
	var wg sync.WaitGroup
	failures := make(chan error, phones*each)
	tries := 0
	var mu sync.Mutex
	for i := range phones {
		p := r.enter(Rider, fmt.Sprintf("rider %d", i))
		tok := p.token()
		wg.Add(1)
		go func() {
			defer wg.Done()
			c := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}, Timeout: 20 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
			for k := range each {
				form := url.Values{"token": {tok}, "says": {"spins"}, "turn": {fmt.Sprint(1 + (i+k)%5)}, "words": {fmt.Sprintf("phone %d remark %d", i, k)}, "key": {fmt.Sprintf("p%d-%d", i, k)}}
				err := errors.New("not sent")
				for n := 0; err != nil && n < 100; n++ {
					mu.Lock()
					tries++
					mu.Unlock()
					req, _ := http.NewRequest("POST", through+"/run/2/remark", strings.NewReader(form.Encode()))
					req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
					for _, k := range p.cookies {
						req.AddCookie(k)
					}
					var a *http.Response
					if a, err = c.Do(req); err != nil {
						continue
					}
					_, err = io.Copy(io.Discard, a.Body)
					a.Body.Close()
					if a.StatusCode == http.StatusTooManyRequests {
						err = errors.New("too fast")
						time.Sleep(300 * time.Millisecond)
						continue
					}
					if err == nil && a.StatusCode != http.StatusSeeOther {
						failures <- fmt.Errorf("phone %d: %d", i, a.StatusCode)
						return
					}
				}
				if err != nil {
					failures <- err
				}
			}
		}()
	}
	wg.Wait()
	close(failures)
	for err := range failures {
		t.Error(err)
	}
	rs, err := b.Remarks(2)
	if err != nil {
		t.Fatal(err)
	}
	count := map[string]int{}
	for _, x := range rs {
		count[x.Words]++
	}
	for i := range phones {
		for k := range each {
			if n := count[fmt.Sprintf("phone %d remark %d", i, k)]; n != 1 {
				t.Errorf("phone %d remark %d is in the book %d times", i, k, n)
			}
		}
	}
	if len(rs) != phones*each {
		t.Errorf("%d remarks, want %d", len(rs), phones*each)
	}
	to, _ := b.LastEvent()
	waitFor(t, "the listener to have heard all", func() bool { return last.Load() >= to })
	time.Sleep(100 * time.Millisecond) // what came twice would come now
	cancel()
	<-ended
	if int64(len(heardIDs)) != to-from {
		t.Errorf("%d events were heard, %d were made", len(heardIDs), to-from)
	}
	for i, id := range heardIDs {
		if id != from+int64(i)+1 {
			t.Fatalf("event %d was heard as number %d", id, i+1)
		}
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.cuts == 0 || tries == phones*each || drops < 2 {
		t.Errorf("too little was cut: %d cuts, %d tries, stream lost %d times", d.cuts, tries, drops)
	}
	t.Logf("%d remarks in %d tries over %d broken connections, stream lost %d times", phones*each, tries, d.cuts, drops)
}
