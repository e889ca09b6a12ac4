package circuit

import (
	"math"
	"slices"
	"strings"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

const (
	placeSplit = 1500 // m between two fixes in a row that part two runs
	restSplit  = 90.0 // s at a standstill that part two runs
	clockSplit = 60.0 // s without any sample that part two runs
	runLength  = 40.0 // s: a shorter stretch is no run
	walking    = 5.0  // m/s
)

// SplitRuns cuts a recording that holds several outings into one recording a
// run. A long standstill, a hole in every channel or a leap to another place parts
// two runs; stretches
// too short to hold a lap are dropped unless nothing else is left. The parts
// share the samples of the whole.
func SplitRuns(rec *recording.Recording) []*recording.Recording {
	var speed *recording.Channel
	for _, n := range []string{recording.GPSSpeed, recording.FrontSpeed, recording.RearSpeed} {
		if speed = rec.Channel(n); speed != nil {
			break
		}
	}
	if speed == nil {
		return []*recording.Recording{rec}
	}
	span := rec.Span()
	var parts []recording.Span
	start := span.From
	rest := math.NaN() // since when it stands
	last := speed.Time[0]
	cut := func(from, to float64) {
		parts = append(parts, recording.Span{From: start, To: from})
		start = to
	}
	leaps := append(placeLeaps(rec), restarts(rec, speed)...)
	slices.Sort(leaps)
	for i, t := range speed.Time {
		if len(leaps) > 0 && t > leaps[0] {
			if leaps[0] > start {
				cut(leaps[0]-0.5, leaps[0])
				rest = math.NaN()
			}
			leaps = leaps[1:]
		}
		if t-last > clockSplit {
			cut(last, t)
			rest = math.NaN()
		}
		last = t
		if speed.Value[i] < standing {
			if math.IsNaN(rest) {
				rest = t
			}
			continue
		}
		if !math.IsNaN(rest) && t-rest > restSplit {
			cut(rest+2, t-2)
		}
		rest = math.NaN()
	}
	end := span.To
	if !math.IsNaN(rest) && end-rest > restSplit {
		end = rest + 2
	}
	parts = append(parts, recording.Span{From: start, To: end})
	var out []*recording.Recording
	for _, s := range parts {
		if s.To-s.From >= runLength && moves(speed, s) {
			out = append(out, window(rec, s))
		}
	}
	if len(out) == 0 || len(out) == 1 && len(parts) == 1 {
		return []*recording.Recording{rec}
	}
	for k, r := range out {
		r.Problems = append(r.Problems, recording.Problem{Severity: recording.Note,
			Text: say.T("the file holds {out} runs; this is run {k} of it", len(out), k+1),
			Mend: say.T("nothing: each run is kept on its own")})
	}
	return out
}

// restarts are the instants at which the clock starts anew with the bike at rest:
// the logger was switched off and on, and nobody knows for how long.
func restarts(rec *recording.Recording, speed *recording.Channel) []float64 {
	var out []float64
	for _, m := range rec.Clock {
		if m.Kind != recording.ClockJump || !strings.Contains(m.Text.String(), "back") {
			continue
		}
		// Nobody's clock starts anew for every lap at walking pace; a logger that is
		// switched on in the pit lane may roll already.
		if at := 0.5 * (m.From + m.To); speed.At(at-0.5) < walking && speed.At(at+0.5) < walking {
			out = append(out, at)
		}
	}
	return out
}

// placeLeaps are the instants at which the position is suddenly elsewhere and
// stays there: two recordings in one file.
func placeLeaps(rec *recording.Recording) []float64 {
	la, lo := rec.Channel(recording.Latitude), rec.Channel(recording.Longitude)
	if la == nil || lo == nil || len(la.Value) != len(lo.Value) {
		return nil
	}
	apart := func(i, k int) float64 {
		dx := (lo.Value[i] - lo.Value[k]) * math.Cos(la.Value[k])
		return semiMajor * math.Hypot(la.Value[i]-la.Value[k], dx)
	}
	ahead := max(1, int(3*la.Rate()))
	var out []float64
	for i := 1; i+ahead < len(la.Value); i++ {
		if d := apart(i, i-1); d > placeSplit && d > 110*(la.Time[i]-la.Time[i-1]) && apart(i+ahead, i-1) > placeSplit && la.Value[i-1] != 0 && la.Value[i] != 0 {
			out = append(out, 0.5*(la.Time[i]+la.Time[i-1]))
		}
	}
	return out
}

func moves(c *recording.Channel, s recording.Span) bool {
	n := 0
	for i, t := range c.Time {
		if s.Contains(t) && c.Value[i] > 10 {
			n++
		}
	}
	return float64(n) > 10*c.Rate()
}

// window is the part of a recording within a span; samples are shared.
func window(rec *recording.Recording, s recording.Span) *recording.Recording {
	out := *rec
	out.Problems = append([]recording.Problem(nil), rec.Problems...)
	out.Channels = nil
	for _, c := range rec.Channels {
		a, b := 0, len(c.Time)
		for a < b && c.Time[a] < s.From {
			a++
		}
		for b > a && c.Time[b-1] > s.To {
			b--
		}
		k := *c
		k.Time, k.Value = c.Time[a:b:b], c.Value[a:b:b]
		k.Marks = nil
		for _, m := range c.Marks {
			if m.To >= s.From && m.From <= s.To {
				k.Marks = append(k.Marks, m)
			}
		}
		out.Channels = append(out.Channels, &k)
	}
	return &out
}
