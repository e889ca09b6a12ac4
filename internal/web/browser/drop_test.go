package browser

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"cornerwright/internal/proving"
)

// BenchmarkDropToFinding drops a text recording of 20 minutes, 32 channels and 100
// rows a second on a page of a book that knows no circuit yet, and tells the
// seconds from letting go of the mouse until its run is on the page, and until the finding on a remark typed there at
// once is painted.
func BenchmarkDropToFinding(b *testing.B) {
	path := filepath.Join(b.TempDir(), "twenty.csv")
	f, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	if err := proving.WriteLong(f, 11, false); err != nil {
		b.Fatal(err)
	}
	if err := f.Close(); err != nil {
		b.Fatal(err)
	}
	var run, total time.Duration
	for range b.N {
		s := serve(b, bikeBook(b))
		w := open(b, s.crew, 1366, 900)
		w.go_("/add")
		drop := w.drag("main", path)
		w.wait("document.body.classList.contains('over')")
		from := time.Now()
		drop()
		w.at("/run/1$")
		run += time.Since(from)
		w.fill("#words", "out of turn five it holds me back at full lean")
		w.click("#say form button")
		w.wait("document.readyState === 'complete' && document.querySelector('#said .stance strong')")
		js[bool](w, "new Promise(d => requestAnimationFrame(() => requestAnimationFrame(() => d(true))))")
		total += time.Since(from)
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(run.Seconds()/float64(b.N), "s-run")
	b.ReportMetric(total.Seconds()/float64(b.N), "s-finding")
}
