package proving_test

import (
	"fmt"
	"math"
	"testing"

	"cornerwright/internal/proving"
	"cornerwright/internal/ride"
)

// judge holds a row against its limits. Shares of few runs are held against what
// an honest 95 % gives by chance once in a thousand; in a single run one episode
// of some forty, and the place of the gate that all its laps share, weigh more.
func (w *row) judge(t *testing.T, l limits, many bool) {
	usual := func(x *float64, y float64) {
		if *x == 0 {
			*x = y
		}
	}
	usual(&l.lean, 0.3)
	usual(&l.slip, 0.35)
	usual(&l.leanCovers, 93)
	usual(&l.lap, 8)
	believed := 3.0 // %
	if !many {
		// One gate, one zero of the lean sensor, some seventy remarks.
		l.lap *= 1.5
		l.leanCovers -= 8
		believed = 6
	}
	atMost := func(what string, got, limit float64) {
		t.Helper()
		if !(got <= limit) {
			t.Errorf("%s %.3f, at most %g", what, got, limit)
		}
	}
	atLeast := func(what string, got, limit float64) {
		t.Helper()
		if !(got >= limit) {
			t.Errorf("%s %.3f, at least %g", what, got, limit)
		}
	}
	if w.refused > 0 || w.lapsOurs != w.lapsTrue {
		t.Errorf("%d of %d runs refused, %d timed laps of %d", w.refused, w.runs, w.lapsOurs, w.lapsTrue)
	}
	atMost("lap, rms ms", 1000*proving.RMS(w.lap), l.lap)
	atLeast("laps inside 95 %", share(w.lapZ), chance(len(w.lapZ), 93))
	if len(w.lapZ) > 200 {
		atMost("laps inside 95 %", share(w.lapZ), 99)
	}
	atMost("lean, rms deg", proving.RMS(w.lean), l.lean)
	atLeast("lean inside 95 %", share(w.leanZ), l.leanCovers)
	atMost("slip, rms pp", proving.RMS(w.slip), l.slip)
	for k, least := range map[ride.Kind]float64{ride.Cut: 0.95, ride.Blip: 0.97, ride.Limiter: 0.95, ride.Wheelie: 0.93, ride.Hop: 0.93} {
		if a := w.kinds[k]; a.truth+a.found > 0 {
			if !many {
				least -= 0.05
			}
			atLeast(string(k)+" F1", a.f1(), least)
		}
	}
	if many {
		atLeast("causes found, %", pct(w.found, w.causes), 90)
	} else {
		atLeast("causes found", float64(w.found), float64(w.causes-1))
	}
	atMost("false remarks believed, %", pct(w.believed, w.remarks), believed)
	others := othersLimit
	if !many {
		others = chance(w.others, 93)
	}
	atLeast("other turns' effects inside 95 %", pct(w.othersHeld, w.others), others)
	if many {
		atLeast("planted effect inside 95 %", pct(w.held, w.verdicts), chance(w.verdicts, 93))
	}
	atMost("false claims", float64(w.claims), 1+0.1*float64(w.verdicts))
}

// othersLimit is the least share (%) of the 95 % intervals of other turns' effects
// that must hold.
const othersLimit = 93.0

// chance is the share in % that n honest 95 % intervals fall below once in a
// thousand, at most limit.
func chance(n int, limit float64) float64 {
	return math.Min(limit, pct(proving.Fewest(n, 0.95, 0.001), n))
}

func share(z []float64) float64 {
	n := 0
	for _, v := range z {
		if math.Abs(v) <= 1.96 {
			n++
		}
	}
	return 100 * float64(n) / float64(len(z))
}

func pct(a, n int) float64 { return 100 * float64(a) / math.Max(1, float64(n)) }

const tableHead = "| row | runs | laps | lap rms ms | mean | worst | 95 % covers | lean rms ° | mean | covers | slip rms pp | mean | cut F1 | blip | limiter | wheelie | hop | causes | false remarks believed | effect held | found | others held | false claims |"

func (w *row) line(name string) string {
	f := func(k ride.Kind) string {
		if a := w.kinds[k]; a.truth+a.found > 0 {
			return fmt.Sprintf("%.3f", a.f1())
		}
		return "–"
	}
	return fmt.Sprintf("| %s | %d | %d/%d | %.1f | %+.1f | %.0f | %.1f | %.2f | %+.2f | %.1f | %.2f | %+.2f | %s | %s | %s | %s | %s | %d/%d | %d/%d | %d/%d | %d | %.1f of %d | %d |",
		name, w.runs, w.lapsOurs, w.lapsTrue, 1000*proving.RMS(w.lap), 1000*proving.Mean(w.lap), 1000*proving.Worst(w.lap), share(w.lapZ),
		proving.RMS(w.lean), proving.Mean(w.lean), share(w.leanZ), proving.RMS(w.slip), proving.Mean(w.slip),
		f(ride.Cut), f(ride.Blip), f(ride.Limiter), f(ride.Wheelie), f(ride.Hop),
		w.found, w.causes, w.believed, w.remarks, w.held, w.verdicts, w.told, pct(w.othersHeld, w.others), w.others, w.claims)
}
