package web

import (
	"context"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"sort"
	"strings"
	"sync"
	"time"

	"cornerwright/internal/book"
	"cornerwright/internal/say"
)

// The watcher looks into one folder, or into every stick that is put in, and
// adds what is new. It asks again and again instead of waiting for the system's
// word: cards in readers and folders on other machines send none.
const (
	watchEvery = 2 * time.Second
	watchDepth = 3    // folders deep
	watchMost  = 3000 // files looked at in one round
	watchKeep  = 40   // lines shown
	sticks     = "sticks"
)

// kinds of file that can be a recording, by their ending; others are left alone
// without a word: a stick holds many things.
var recordingEndings = []string{".csv", ".txt", ".tsv", ".dat", ".log", ".asc", ".nmea", ".gpx", ".xml", ".parquet", ".gz", ".zst", ".zip"}

// watched is what became of one file.
type watched struct {
	Name          string
	At            time.Time
	State         string // "waiting", "reading", "added", "known", "failed", "gone"
	Share         int    // percent, while reading
	Run           int    // 0: none
	Trouble, Mend say.Text
	Original      string // kept, of a file that could not be used
}

type glimpse struct {
	size int64
	mod  time.Time
}

type watcher struct {
	mu    sync.Mutex
	root  string // a folder, or "sticks"; "" while nothing is watched
	req   book.AddRequest
	stop  context.CancelFunc
	seen  map[string]glimpse // as last seen
	done  map[string]glimpse // as it was when it was taken
	items []*watched         // newest first
	fault say.Text           // why the folder cannot be read now
}

type watchPage struct {
	Root, Bike string
	Fault      say.Text
	Sticks     []string // put in now
	Items      []watched
}

func (w *watcher) page() watchPage {
	w.mu.Lock()
	defer w.mu.Unlock()
	p := watchPage{Root: w.root, Bike: w.req.Bike, Fault: w.fault}
	for _, i := range w.items {
		p.Items = append(p.Items, *i)
	}
	return p
}

// mounts lists the sticks and cards that are in now.
func mounts() []string {
	var places []string
	switch runtime.GOOS {
	case "windows":
		for c := 'D'; c <= 'Z'; c++ {
			places = append(places, string(c)+`:\`)
		}
	case "darwin":
		places, _ = filepath.Glob("/Volumes/*")
	default:
		for _, g := range []string{"/media/*/*", "/run/media/*/*", "/mnt/*"} {
			l, _ := filepath.Glob(g)
			places = append(places, l...)
		}
	}
	var out []string
	for _, p := range places {
		if i, err := os.Stat(p); err == nil && i.IsDir() {
			out = append(out, p)
		}
	}
	sort.Strings(out)
	return out
}

// start watches; what was watched before is left.
func (w *watcher) start(b *book.Book, root string, req book.AddRequest, closing <-chan struct{}) {
	ctx, cancel := context.WithCancel(context.Background())
	w.mu.Lock()
	if w.stop != nil {
		w.stop()
	}
	w.root, w.req, w.stop, w.fault = root, req, cancel, ""
	w.seen, w.done, w.items = map[string]glimpse{}, map[string]glimpse{}, nil
	w.mu.Unlock()
	go func() {
		tick := time.NewTicker(watchEvery)
		defer tick.Stop()
		for {
			w.round(ctx, b)
			select {
			case <-ctx.Done():
				return
			case <-closing:
				cancel()
				return
			case <-tick.C:
			}
		}
	}()
}

func (w *watcher) end() {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.stop != nil {
		w.stop()
	}
	w.root, w.stop, w.fault = "", nil, ""
}

// round looks once, and takes every file that has stood still since the round
// before: one that is being copied would be read half.
func (w *watcher) round(ctx context.Context, b *book.Book) {
	w.mu.Lock()
	root := w.root
	w.mu.Unlock()
	roots := []string{root}
	if root == sticks {
		roots = mounts()
	}
	now, fault := map[string]glimpse{}, say.Text("")
	for _, r := range roots {
		if err := look(r, now); err != nil && root != sticks {
			fault = say.T("the folder cannot be read: {why}", plainError(err))
		}
	}
	var ready []string
	w.mu.Lock()
	if ctx.Err() != nil {
		w.mu.Unlock()
		return
	}
	w.fault = fault
	for p, g := range now {
		if w.done[p] != g && w.seen[p] == g {
			ready = append(ready, p)
		}
	}
	w.seen = now
	w.mu.Unlock()
	sort.Slice(ready, func(i, j int) bool {
		a, b := now[ready[i]], now[ready[j]]
		if !a.mod.Equal(b.mod) {
			return a.mod.Before(b.mod)
		}
		return ready[i] < ready[j]
	})
	for _, p := range ready {
		if ctx.Err() != nil {
			return
		}
		w.take(ctx, b, p, now[p])
	}
}

// look notes the files under a folder that can be recordings.
func look(root string, into map[string]glimpse) error {
	root = filepath.Clean(root)
	return filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			if p == root {
				return err
			}
			return nil // a folder inside that may not be read
		}
		if len(into) >= watchMost {
			return fs.SkipAll
		}
		if d.IsDir() {
			rel, _ := filepath.Rel(root, p)
			if p != root && (strings.HasPrefix(d.Name(), ".") || strings.Count(rel, string(filepath.Separator)) >= watchDepth) {
				return fs.SkipDir
			}
			return nil
		}
		if !d.Type().IsRegular() || strings.HasPrefix(d.Name(), ".") || !canBeRecording(d.Name()) {
			return nil
		}
		if i, err := d.Info(); err == nil && i.Size() > 0 {
			into[p] = glimpse{i.Size(), i.ModTime()}
		}
		return nil
	})
}

func canBeRecording(name string) bool {
	name = strings.ToLower(name)
	for _, e := range recordingEndings {
		if strings.HasSuffix(name, e) {
			return true
		}
	}
	return false
}

// take adds one file and says what became of it.
func (w *watcher) take(ctx context.Context, b *book.Book, path string, g glimpse) {
	item := &watched{Name: filepath.Base(path), At: time.Now(), State: "reading"}
	w.mu.Lock()
	req := w.req
	w.done[path] = g
	w.items = append([]*watched{item}, w.items...)
	w.items = w.items[:min(len(w.items), watchKeep)]
	w.mu.Unlock()
	req.Path = path
	req.Progress = func(_ string, share float64) {
		w.mu.Lock()
		item.Share = int(100 * share)
		w.mu.Unlock()
	}
	res, err := b.Add(ctx, req)
	w.mu.Lock()
	defer w.mu.Unlock()
	if len(res.Runs) > 0 {
		item.Run = res.Runs[0].Number
	}
	switch _, gone := os.Stat(path); {
	case err == nil && res.Duplicate:
		item.State = "known"
	case err == nil && len(res.Runs) > 0:
		item.State = "added"
	case gone != nil && item.Run == 0:
		item.State, item.Trouble, item.Mend = "gone", say.T("it was taken away while it was read; nothing of it was taken"), say.T("put the stick back in: it is read again by itself")
		delete(w.done, path)
	default:
		item.State, item.Original = "failed", res.Original
		item.Trouble, item.Mend = say.T("the file holds no run"), say.T("say what its columns are")
		if err != nil {
			var ok bool
			if item.Trouble, item.Mend, ok = trouble(err); !ok {
				item.Trouble, item.Mend = say.Of(err), say.T("look at the log")
			}
		}
	}
}

// plainError leaves out the operation and path of a file error.
func plainError(err error) string {
	if e, ok := err.(*fs.PathError); ok {
		return e.Err.Error()
	}
	return err.Error()
}

// startWatching takes the folder that the crew at this machine chose. Other
// machines may not: they would have us read any folder of this one.
func (s *server) startWatching(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	d, err := s.addBody()
	if err != nil {
		return "", nil, err
	}
	root := field(r, "folder")
	if field(r, "what") == sticks {
		root = sticks
	}
	d.Bike, d.Tyre, d.Weather, d.Folder = field(r, "bike"), field(r, "tyre"), field(r, "weather"), field(r, "folder")
	d.Here = s.atThisMachine(r)
	again := func(text, mend say.Text) (string, *page, error) {
		d.Trouble, d.Mend = text, mend
		return "", &page{Title: say.T("Add a recording"), Name: "add", Body: d}, nil
	}
	if !s.atThisMachine(r) {
		return again(say.T("folders are watched at the machine itself only"), say.T("drop the file on this page instead"))
	}
	if root == "" {
		return again(say.T("no folder was given"), say.T("write the folder that the logger's files are copied to"))
	}
	if root != sticks {
		if root, err = filepath.Abs(root); err != nil {
			return again(say.Of(err), say.T("write the whole path of the folder"))
		}
		i, err := os.Stat(root)
		if err != nil {
			return again(say.T("{root} cannot be watched: {why}", root, plainError(err)), say.T("write the whole path of a folder that exists"))
		}
		if !i.IsDir() {
			return again(say.T("{root} is a file, not a folder", root), say.T("drop the file on this page, or write its folder"))
		}
	}
	s.watch.start(s.book, root, book.AddRequest{Bike: d.Bike, Tyre: d.Tyre, Weather: d.Weather}, s.closing)
	return "/add#watch", nil, nil
}

func (s *server) stopWatching(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	s.watch.end()
	return "/add#watch", nil, nil
}

// atThisMachine tells whether a request comes from who sits here.
func (s *server) atThisMachine(r *http.Request) bool {
	return loopback(r.RemoteAddr) && local(r.Host)
}
