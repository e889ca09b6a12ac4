package web

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"runtime"
	"sort"
	"strings"
	"sync"
	"testing"
	"time"

	"cornerwright/internal/book"
)

// member is one phone or crew's browser of the crowd.
type member struct {
	*person
	c    *http.Client
	base string
	tok  string

	mu    sync.Mutex
	took  []time.Duration
	heard []int64
	said  []string
	errs  []error
}

func (m *member) fault(err error) {
	m.mu.Lock()
	m.errs = append(m.errs, err)
	m.mu.Unlock()
}

// ask sends one request as a browser would and notes how long its answer took,
// to the last byte.
func (m *member) ask(method, path string, form url.Values) (string, bool) {
	var body io.Reader
	if form != nil {
		body = strings.NewReader(form.Encode())
	}
	req, err := http.NewRequest(method, m.base+path, body)
	if err != nil {
		m.fault(err)
		return "", false
	}
	if form != nil {
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		req.Header.Set("Origin", m.base)
	}
	req.Header.Set("Accept", "text/html")
	for _, k := range m.cookies {
		req.AddCookie(k)
	}
	began := time.Now()
	r, err := m.c.Do(req)
	if err != nil {
		m.fault(fmt.Errorf("%s %s: %w", method, path, err))
		return "", false
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		m.fault(fmt.Errorf("%s %s: %w", method, path, err))
		return "", false
	}
	m.mu.Lock()
	m.took = append(m.took, time.Since(began))
	m.mu.Unlock()
	want := http.StatusOK
	if method == "POST" {
		want = http.StatusSeeOther
	}
	if r.StatusCode != want {
		m.fault(fmt.Errorf("%s %s: %d %.200s", method, path, r.StatusCode, b))
		return "", false
	}
	return string(b), true
}

// live listens for events until it has heard all that were made when the talk
// was over; they make the page read its part anew, at once but not more than
// once a second, as the page's script does. A phone is not concerned with what
// other riders say.
func (m *member) live(from int64, page, you string, over <-chan int64) {
	e, err := listen(&http.Client{Transport: &http.Transport{}}, m.base+"/events?after="+fmt.Sprint(from), "", m.cookies...)
	if err != nil {
		m.fault(err)
		return
	}
	defer e.close()
	var again <-chan time.Time
	var drawn time.Time
	to, last := int64(-1), from
	end := make(<-chan time.Time)
	for to < 0 || last < to {
		select {
		case h, ok := <-e.got:
			if !ok {
				m.fault(fmt.Errorf("the stream broke"))
				return
			}
			last = h.id
			m.mu.Lock()
			m.heard = append(m.heard, h.id)
			m.mu.Unlock()
			var news book.Event
			if err := json.Unmarshal([]byte(h.data), &news); err != nil {
				m.fault(err)
			}
			if again == nil && (you == "" || news.Kind != "remark" || news.Who == you) {
				again = time.After(max(150*time.Millisecond, time.Second-time.Since(drawn)))
			}
		case <-again:
			again, drawn = nil, time.Now()
			if to < 0 {
				m.ask("GET", page, nil)
			}
		case to = <-over:
			over = nil // one word for each listener
			end = time.After(20 * time.Second)
		case <-end:
			return // what was not heard is counted by the test
		}
	}
}

// Riders at their phones and two of the crew at once: nothing fails, nothing is
// lost or doubled, and everybody hears everything once. With
// CORNERWRIGHT_FULL=1: 50 phones and 2 crew for two minutes, as they use it: a
// remark every 20 s each, by the three taps, and every page that shows remarks
// follows by itself.
func TestACrowd(t *testing.T) {
	phones, lasts, pause := 10, 3*time.Second, 1500*time.Millisecond
	if full() {
		phones, lasts, pause = 50, 2*time.Minute, 20*time.Second
	}
	b := aBook(t)
	l := &logged{}
	r := aServer(t, b, Options{Share: true, Log: l.logger()})
	from, err := b.LastEvent()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), lasts)
	defer cancel()
	var all []*member
	code := r.door.invite(Rider).Code
	for i := range phones + 2 {
		p := &person{site: r.site, from: "127.0.0.1:1"}
		if i < phones {
			p.from = fmt.Sprintf("192.0.2.%d:1", i+1)
			if w := p.post("/join", url.Values{"code": {code}, "name": {fmt.Sprintf("rider %d", i)}}); w.Code != http.StatusSeeOther {
				t.Fatal(w.Code)
			}
		}
		m := &member{person: p, base: r.base, c: &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 6}, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
		m.tok = p.token()
		all = append(all, m)
	}
	says := []string{"spins", "pushes-on", "held-back", "hops", "wheelies"}
	var wg, ears sync.WaitGroup
	over := make(chan int64, len(all))
	for i, m := range all {
		page, you := "/phone/2", fmt.Sprint("rider ", i)
		if i >= phones {
			page, you = "/run/2", ""
		}
		wg.Add(1)
		ears.Add(1)
		go func() { defer ears.Done(); m.live(from, page, you, over) }()
		go func() {
			defer wg.Done()
			// People do not tap in step.
			select {
			case <-time.After(pause * time.Duration(i) / time.Duration(len(all))):
			case <-ctx.Done():
			}
			for k := 0; k == 0 || ctx.Err() == nil; k++ {
				if i >= phones { // the crew read
					for _, p := range []string{"/", "/run/2", "/run/2/turn/3", "/step/1"} {
						m.ask("GET", p, nil)
						nap(ctx, pause/8)
					}
					continue
				}
				turn, word := 1+(i+k)%5, says[(i+k)%len(says)]
				m.ask("GET", "/phone/2", nil)
				nap(ctx, pause/8)
				m.ask("GET", fmt.Sprintf("/phone/2?turn=%d", turn), nil)
				nap(ctx, pause/8)
				m.ask("GET", fmt.Sprintf("/phone/2?turn=%d&says=%s", turn, word), nil)
				nap(ctx, pause/8)
				words := fmt.Sprintf("phone %d remark %d", i, k)
				if _, ok := m.ask("POST", "/run/2/remark", url.Values{"token": {m.tok}, "turn": {fmt.Sprint(turn)}, "says": {word}, "strength": {"2"}, "from": {"phone"}, "rider": {fmt.Sprint("rider ", i)}, "words": {words}, "key": {fmt.Sprintf("c%d-%d", i, k)}}); ok {
					m.said = append(m.said, words)
				}
				nap(ctx, pause*5/8)
			}
		}()
	}
	wg.Wait()
	to, err := b.LastEvent()
	if err != nil {
		t.Fatal(err)
	}
	for range all {
		over <- to
	}
	ears.Wait()
	rs, err := b.Remarks(2)
	if err != nil {
		t.Fatal(err)
	}
	count := map[string]int{}
	for _, x := range rs {
		count[x.Words]++
	}
	var took []time.Duration
	said, failed := 0, 0
	for i, m := range all {
		took = append(took, m.took...)
		for _, err := range m.errs {
			failed++
			t.Errorf("member %d: %v", i, err)
		}
		for _, w := range m.said {
			said++
			if count[w] != 1 {
				t.Errorf("%q is in the book %d times", w, count[w])
			}
		}
		for k, id := range m.heard {
			if id != from+int64(k)+1 {
				t.Errorf("member %d heard event %d as number %d", i, id, k+1)
				break
			}
		}
		if int64(len(m.heard)) != to-from {
			t.Errorf("member %d heard %d of %d events", i, len(m.heard), to-from)
		}
	}
	if len(rs) != said || said < phones {
		t.Errorf("%d remarks in the book, %d were acknowledged", len(rs), said)
	}
	if strings.Contains(l.String(), `"level":"ERROR"`) {
		t.Errorf("the log tells of errors: %s", tail(l.String()))
	}
	sort.Slice(took, func(i, j int) bool { return took[i] < took[j] })
	at := func(share float64) time.Duration { return took[min(len(took)-1, int(share*float64(len(took))))] }
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	t.Logf("%d phones and 2 crew for %v: %d requests, %d failed, %d remarks, %d events heard by each; answers 50 %% in %v, 95 %% in %v, 99 %% in %v, slowest %v; heap %d MB",
		phones, lasts, len(took), failed, said, to-from, at(.5), at(.95), at(.99), took[len(took)-1], m.HeapInuse>>20)
	if full() && at(.95) > 200*time.Millisecond {
		// The aim of the issue, looked at only in the long study on a machine of
		// its own; the short version is about loss and doubles.
		t.Errorf("95 %% of the answers took up to %v, the aim is 200 ms", at(.95))
	}
}

func nap(ctx context.Context, d time.Duration) {
	select {
	case <-time.After(d):
	case <-ctx.Done():
	}
}

// A remark said on a phone is at the crew's page with the next event.
func TestTheCrewsPageFollows(t *testing.T) {
	b := aBook(t)
	r := aServer(t, b, Options{Share: true})
	m := &member{person: r.crew, base: r.base, c: http.DefaultClient}
	page, ok := m.ask("GET", "/run/2", nil)
	if !ok {
		t.Fatal(m.errs)
	}
	_, after, ok := strings.Cut(page, `data-last="`)
	if !ok {
		t.Fatal("the page does not say what it knows of")
	}
	after, _, _ = strings.Cut(after, `"`)
	ev := listenTo(t, m.c, r.base+"/events?after="+after, "")
	if w := r.rider.sign("/run/2/remark", url.Values{"turn": {"2"}, "says": {"spins"}, "words": {"lights it up"}, "strength": {"3"}, "from": {"phone"}, "key": {"z"}}); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/phone/2?said#said" {
		t.Fatalf("%d %s", w.Code, w.Header().Get("Location"))
	}
	var e book.Event
	if err := json.Unmarshal([]byte(ev.next(t).data), &e); err != nil || e.Kind != "remark" {
		t.Fatal(e, err)
	}
	ev.close()
	if page, _ = m.ask("GET", "/run/2", nil); !strings.Contains(page, "lights it up") {
		t.Error("the crew's page does not show the remark after its event")
	}
	phone := r.rider.get("/phone/2?said").Body.String()
	for _, want := range []string{"lights it up", "The data:", "Written down"} {
		if !strings.Contains(phone, want) {
			t.Errorf("the phone does not show %q", want)
		}
	}
}

// The phone's way by taps alone: turn, complaint, how much; no script needed.
func TestThreeTaps(t *testing.T) {
	s := aSite(t, aBook(t))
	w := s.rider.get("/phone")
	where := w.Header().Get("Location")
	body := s.rider.get(where).Body.String()
	tap := func(want string) string {
		for _, m := range href.FindAllStringSubmatch(body, -1) {
			u := strings.ReplaceAll(m[1], "&amp;", "&")
			if strings.Contains(u, want) {
				path, _, _ := strings.Cut(u, "#")
				return path
			}
		}
		t.Fatalf("no link with %q on the page", want)
		return ""
	}
	if !strings.Contains(body, "<svg") {
		t.Error("the phone shows no map")
	}
	body = s.rider.get(tap("turn=3")).Body.String()
	body = s.rider.get(tap("says=hops")).Body.String()
	form := fields(body, where[:strings.LastIndex(where, "/")]+"x") // no such form
	if len(form) != 0 {
		t.Error("fields of a form that is not there")
	}
	run := where[strings.LastIndex(where, "/")+1:]
	form = fields(body, "/run/"+run+"/remark")
	form.Set("strength", "3")
	if w = s.rider.post("/run/"+run+"/remark", form); w.Code != http.StatusSeeOther {
		t.Fatalf("%d %.300s", w.Code, w.Body)
	}
	rs, err := s.book.Remarks(2)
	if err != nil || len(rs) != 1 || rs[0].Says != "hops" || rs[0].Strength != 3 || len(rs[0].Turns) != 1 || rs[0].Turns[0] != 3 || rs[0].Rider != "Ada" {
		t.Errorf("%+v, %v", rs, err)
	}
}
