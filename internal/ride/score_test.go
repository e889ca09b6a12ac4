package ride

import (
	"math"
	"sort"
	"testing"

	"cornerwright/internal/bike"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
)

// scored is one simulated run, analysed, beside its truth.
type scored struct {
	run  *demo.Run
	ride *Ride
	bike *bike.Bike
}

// seeds are what the tests score. The default's five were in sight when constants
// of limiter and torque were chosen; the full matrix scores ten others, that
// nothing was built on.
func seeds() []uint64 {
	if !proving.Full() {
		return proving.Seeds()
	}
	out := make([]uint64, 10)
	for i := range out {
		out[i] = uint64(610001 + 7919*i)
	}
	return out
}

func analysed(t testing.TB, o demo.Options) scored {
	t.Helper()
	run := demo.Ride(o)
	b, err := bike.Parse("demo.toml", run.Bike.TOML())
	if err != nil {
		t.Fatal(err)
	}
	r, err := Analyse(proving.Recording(run), b, nil, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return scored{run, r, b}
}

// truth gives the index of the truth row at a time, and whether the bike is
// well under way on a timed lap there.
func (s *scored) at(t float64) (int, bool) {
	tr := &s.run.Truth
	i := sort.SearchFloat64s(tr.Time, t-0.005)
	if i >= len(tr.Time) {
		return 0, false
	}
	return i, tr.Speed[i] > 10
}

// onLaps tells whether an instant lies on a timed lap (truth).
func (s *scored) onLaps(t float64) bool {
	for _, l := range s.run.Truth.Laps {
		if l.Kind == demo.TimedLap && t >= l.Start && t <= l.End {
			return true
		}
	}
	return false
}

func (s *scored) leanError() (rms float64) {
	var e []float64
	p := s.ride.Position
	for i := 0; i < len(p.Time); i += 3 {
		k, ok := s.at(p.Time[i])
		if !ok || !s.onLaps(p.Time[i]) {
			continue
		}
		e = append(e, (s.ride.Signals.Lean[i]-s.run.Truth.Lean[k])*180/math.Pi)
	}
	return proving.RMS(e)
}

func (s *scored) slipError() (drive, leaned float64) {
	var e, l []float64
	p, tr := s.ride.Position, &s.run.Truth
	for i := 0; i < len(p.Time); i += 3 {
		k, ok := s.at(p.Time[i])
		if !ok || !s.onLaps(p.Time[i]) || tr.Grip[k] < 0.03 || tr.Clutch[k] > 0.5 {
			continue
		}
		d := 100 * (s.ride.Signals.RearSlip[i] - tr.RearSlip[k])
		if math.IsNaN(d) {
			continue
		}
		e = append(e, d)
		if math.Abs(tr.Lean[k]) > 0.7 {
			l = append(l, d)
		}
	}
	return proving.RMS(e), proving.RMS(l)
}

func (s *scored) gearRight() float64 {
	p, tr := s.ride.Position, &s.run.Truth
	n, good := 0, 0
	for i := range p.Time {
		k, ok := s.at(p.Time[i])
		if !ok || !s.onLaps(p.Time[i]) || tr.Clutch[k] > 0.5 {
			continue
		}
		n++
		if s.ride.Signals.Gear != nil && int(s.ride.Signals.Gear[i]) == tr.Gear[k] {
			good++
		}
	}
	return float64(good) / float64(n)
}

// tally counts episodes of a kind found and missed.
type tally struct {
	hit, truth, found, extra int
	start, end               []float64
	class, classN            int
	laps                     int
}

func (a *tally) f1() float64 { return proving.F1(a.hit, a.truth, a.found, a.extra) }

func (a *tally) add(s *scored, kind Kind, keep func(*demo.Episode) bool) {
	var ts, fs []proving.Span
	var te []*demo.Episode
	var fe []*Episode
	for i := range s.run.Truth.Episodes {
		e := &s.run.Truth.Episodes[i]
		if e.Kind == string(kind) && s.onLaps(e.Start) && (keep == nil || keep(e)) {
			te = append(te, e)
			ts = append(ts, proving.Span{From: e.Start - 0.02, To: e.End + 0.02})
		}
	}
	for i := range s.ride.Episodes {
		e := &s.ride.Episodes[i]
		if e.Kind == kind && s.onLaps(e.Start) {
			fe = append(fe, e)
			fs = append(fs, proving.Span{From: e.Start - 0.02, To: e.End + 0.02})
		}
	}
	hit, extra, pairs := proving.Match(ts, fs)
	a.hit += hit
	a.extra += extra
	a.truth += len(ts)
	a.found += len(fs)
	for _, l := range s.run.Truth.Laps {
		if l.Kind == demo.TimedLap {
			a.laps++
		}
	}
	for _, p := range pairs {
		a.start = append(a.start, fe[p[1]].Start-te[p[0]].Start)
		a.end = append(a.end, fe[p[1]].End-te[p[0]].End)
		if te[p[0]].LeanClass != "" {
			a.classN++
			if te[p[0]].LeanClass == string(fe[p[1]].LeanClass) {
				a.class++
			}
		}
	}
}

// bigCuts scores cuts of more than 12 % on average for 0.2 s or longer: what is
// found beside a smaller true cut is neither here nor there.
func (s *scored) bigCuts(a *tally) {
	var all, found []proving.Span
	var big []bool
	for _, e := range s.run.Truth.Episodes {
		if e.Kind == string(Cut) {
			all = append(all, proving.Span{From: e.Start - 0.02, To: e.End + 0.02})
			big = append(big, e.Mean > 0.12 && e.End-e.Start >= 0.2 && s.onLaps(e.Start))
		}
	}
	for _, e := range s.ride.Episodes {
		if e.Kind == Cut && s.onLaps(e.Start) {
			found = append(found, proving.Span{From: e.Start - 0.02, To: e.End + 0.02})
		}
	}
	_, extra, pairs := proving.Match(all, found)
	hit := 0
	for _, p := range pairs {
		hit += b2i(big[p[0]])
	}
	for _, b := range big {
		a.truth += b2i(b)
	}
	a.hit += hit
	a.found += hit + extra
	a.extra += extra
}

func medianAbs(x []float64) float64 {
	a := make([]float64, len(x))
	for i := range x {
		a[i] = math.Abs(x[i])
	}
	sort.Float64s(a)
	if len(a) == 0 {
		return math.NaN()
	}
	return a[len(a)/2]
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// blipErrors compares every downshift with its truth: surplus of ordinary and of
// planted over-blips (1/min), push after over-blips (s), limiter contact.
func (s *scored) blipErrors() (surplus, over, push []float64, lim tally) {
	for i := range s.ride.Episodes {
		e := &s.ride.Episodes[i]
		if e.Kind != Blip || !s.onLaps(e.Start) {
			continue
		}
		for _, u := range s.run.Truth.Episodes {
			if u.Kind != "blip" || math.Abs(u.End-e.End) > 0.06 {
				continue
			}
			if d := e.Shift.Surplus - u.Surplus; !math.IsNaN(d) {
				if u.Over {
					over = append(over, d)
				} else {
					surplus = append(surplus, d)
				}
			}
			if u.Surplus > 300 && !math.IsNaN(e.Shift.Push) {
				push = append(push, e.Shift.Push-u.PushS)
			}
			lim.truth += b2i(u.Limiter)
			lim.found += b2i(e.Shift.Limiter)
			lim.hit += b2i(u.Limiter && e.Shift.Limiter)
			lim.extra += b2i(!u.Limiter && e.Shift.Limiter)
		}
	}
	return
}
