package browser

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// The two pictures of the README are taken from the pages as they are: the top
// of the debrief and of a turn. Each must be a whole picture; where a folder is
// named they are kept there.
func TestPictures(t *testing.T) {
	s := serve(t, dayBook(t))
	w := open(t, s.crew, 1280, 860)
	for _, p := range []struct{ name, path, ready string }{
		{"readme-debrief", "/run/1", "document.querySelector('#said article svg')"},
		{"readme-turn", "/run/2/turn/10", "document.querySelector('#traces canvas')"},
	} {
		w.go_(p.path)
		w.wait(p.ready)
		png, err := chromedp.Run(w.ctx, chromedp.CaptureScreenshot())
		w.must(err, "picture "+p.name)
		if len(png) < 20_000 || string(png[1:4]) != "PNG" {
			t.Errorf("%s is no picture of a page: %d bytes", p.name, len(png))
		}
		if dir := os.Getenv("CORNERWRIGHT_SHOTS"); dir != "" {
			if err := os.MkdirAll(dir, 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(dir, p.name+".png"), png, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	w.quiet()
}

// BenchmarkTraces loads a turn's laps laid over each other and tells, in
// milliseconds, from data to painted and the work of one move of the cursor.
func BenchmarkTraces(b *testing.B) {
	s := serve(b, dayBook(b))
	w := open(b, s.crew, 1500, 1000)
	var paint, cursor float64
	for b.Loop() {
		w.go_("/run/2/traces")
		w.wait("document.querySelector('#traces')?.dataset.paint")
		js[bool](w, "(document.querySelector('#traces .stage').focus(), true)")
		for range 20 {
			w.must(chromedp.Do(w.ctx, chromedp.KeyEvent(kb.ArrowRight)), "the cursor")
		}
		w.wait("document.querySelector('#traces')?.dataset.cursor")
		paint += js[float64](w, "Number(document.querySelector('#traces').dataset.paint)")
		cursor += js[float64](w, "Number(document.querySelector('#traces').dataset.cursor)")
	}
	b.ReportMetric(paint/float64(b.N), "paint-ms")
	b.ReportMetric(cursor/float64(b.N), "cursor-ms")
}
