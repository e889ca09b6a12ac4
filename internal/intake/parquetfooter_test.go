package intake

import (
	"math"
	"testing"

	"cornerwright/internal/recording"
)

// A Parquet file cut anywhere in its footer gives the row groups that the rest
// of it lists, each whole and right, and never fewer than a shorter file.
func TestFooterCutAnywhere(t *testing.T) {
	whole := mustRead(t, "parquet/footer-claims-too-much.parquet") // 60 rows in four groups, its length field wrong
	best, worst := 0, 60
	last := 60
	for n := len(whole); n > len(whole)-4200; n -= 3 {
		res, err := Read("cut.parquet", whole[:n:n], Options{})
		if err != nil {
			last = 0
			continue
		}
		rec := res.Recordings[0]
		if rec.Rows%15 != 0 || rec.Rows > last {
			t.Fatalf("cut after %d of %d bytes: %d rows, %d before", n, len(whole), rec.Rows, last)
		}
		last = rec.Rows
		best, worst = max(best, rec.Rows), min(worst, rec.Rows)
		c, w := rec.Channel(recording.Latitude), rec.Channel(recording.FrontSpeed)
		if c == nil || len(c.Value) != rec.Rows || w == nil {
			t.Fatalf("cut after %d bytes: latitude %v", n, c)
		}
		for i, v := range c.Value {
			if math.Abs(v*180/math.Pi-(48.1+float64(i)*2.5e-5)) > 1e-12 || math.Abs(w.Value[i]*3.6-(100+float64(i)/2)) > 1e-9 {
				t.Fatalf("cut after %d bytes: row %d reads %v, %v", n, i, v, w.Value[i])
			}
		}
		if countWarnings(rec) == 0 {
			t.Fatalf("cut after %d bytes: nothing is said", n)
		}
	}
	if best != 60 || worst != 15 {
		t.Errorf("between %d and %d rows were kept, want 15 to 60", worst, best)
	}
}

// A byte changed in the footer gives an error or a sound recording.
func TestFooterByteChanged(t *testing.T) {
	whole := mustRead(t, "parquet/foreign.parquet")
	for i := len(whole) - 1; i > len(whole)-900; i -= 2 {
		for _, x := range []byte{0x01, 0x80, 0xff} {
			bad := append([]byte{}, whole...)
			bad[i] ^= x
			sound(t, bad, Options{})
		}
	}
}
