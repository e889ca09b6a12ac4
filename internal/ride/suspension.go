package ride

import (
	"fmt"
	"math"

	"cornerwright/internal/circuit"
	"cornerwright/internal/recording"
	"cornerwright/internal/signal"
)

// Travel is what one end's suspension did, by phase of the turns.
type Travel struct {
	End        string    // "fork" or "shock"
	Phase      string    // a phase, or "all"
	Seconds    float64   // s looked at
	Share      []float64 // share of time in each bin of travel
	Bin        float64   // m of travel per bin, from 0
	P          [5]float64
	HasSpeed   bool // velocities are given: logged at 100 samples a second or more
	SpeedBin   float64
	SpeedShare []float64 // share of time by velocity, from -SpeedBin*len/2, compression positive
	// Shares of time in compression and rebound, below and above the knees of
	// 0.08 and 0.25 m/s, and still (|v| < 0.01 m/s).
	CompLow, CompMid, CompHigh, RebLow, RebMid, RebHigh, Still float64
	Bottoms, Tops                                              int     // times at the ends of travel
	DiveRate                                                   float64 // m/s, 95th percentile of compression while braking; fork only
}

// suspension fills Ride.Travel where travel is logged.
func (w *work) suspension() {
	s := &w.r.Signals
	phases := w.phaseGrid()
	for _, e := range []struct {
		name string
		x    []float64
		end  float64
	}{{"fork", s.Fork, w.b.Travel.Fork}, {"shock", s.Shock, w.b.Travel.Shock}} {
		if e.x == nil {
			w.cannot(e.name+" travel", "it is not logged", "log it at 200 samples a second for velocities")
			continue
		}
		c := w.rec.Channel(map[string]string{"fork": recording.Fork, "shock": recording.Shock}[e.name])
		var v []float64
		if rate := c.Rate(); rate >= 95 {
			v = make([]float64, w.n)
			tmp := make([]float64, w.n)
			signal.LowPassInto(tmp, e.x, 25, w.rate, &w.sc)
			signal.DerivativeInto(v, tmp, w.dt)
		} else {
			w.cannot(e.name+" velocity", fmt.Sprintf("%s is logged at %.0f samples a second; 100 are needed", e.name, rate), "log it faster")
		}
		for _, ph := range append([]circuit.Phase{"all"}, circuit.Phases...) {
			if t, ok := w.travel(e.name, e.x, v, e.end, ph, phases); ok {
				w.r.Travel = append(w.r.Travel, t)
			}
		}
	}
}

// phaseGrid names the phase at every sample: index into circuit.Phases plus one.
func (w *work) phaseGrid() []int8 {
	g := make([]int8, w.n)
	for k := range w.r.Passes {
		p := &w.r.Passes[k]
		if math.IsNaN(p.Start) || math.IsNaN(p.End) {
			continue
		}
		for i := w.index(p.Start); i < w.index(p.End); i++ {
			ph := p.PhaseAt(w.time(i))
			for m, q := range circuit.Phases {
				if q == ph {
					g[i] = int8(m + 1)
				}
			}
		}
	}
	return g
}

func (w *work) travel(name string, x, v []float64, end float64, ph circuit.Phase, grid []int8) (Travel, bool) {
	want := int8(0)
	for m, q := range circuit.Phases {
		if q == ph {
			want = int8(m + 1)
		}
	}
	in := func(i int) bool { return w.speed[i] > 8 && (want == 0 || grid[i] == want) }
	t := Travel{End: name, Phase: string(ph), Bin: 0.005, SpeedBin: 0.02}
	var all []float64
	for i := 0; i < w.n; i++ {
		if in(i) {
			all = append(all, x[i])
		}
	}
	if len(all) < w.samples(3) {
		return t, false
	}
	t.Seconds = float64(len(all)) * w.dt
	top := 0.0
	for _, a := range all {
		top = math.Max(top, a)
	}
	t.Share = make([]float64, int(math.Max(0, top)/t.Bin)+1)
	one := 1 / float64(len(all))
	for _, a := range all {
		t.Share[max(0, min(len(t.Share)-1, int(a/t.Bin)))] += one
	}
	q := sorted(all)
	for k, p := range []float64{0.01, 0.05, 0.5, 0.95, 0.99} {
		t.P[k] = quantile(q, p)
	}
	if v != nil {
		t.HasSpeed = true
		const half = 50
		t.SpeedShare = make([]float64, 2*half)
		var dive []float64
		for i := 0; i < w.n; i++ {
			if !in(i) {
				continue
			}
			t.SpeedShare[max(0, min(2*half-1, int(math.Floor(v[i]/t.SpeedBin))+half))] += one
			a := math.Abs(v[i])
			to := &t.Still
			switch {
			case a < 0.01:
			case v[i] > 0 && a < 0.08:
				to = &t.CompLow
			case v[i] > 0 && a < 0.25:
				to = &t.CompMid
			case v[i] > 0:
				to = &t.CompHigh
			case a < 0.08:
				to = &t.RebLow
			case a < 0.25:
				to = &t.RebMid
			default:
				to = &t.RebHigh
			}
			*to += one
			if name == "fork" && w.braking[i] && v[i] > 0 {
				dive = append(dive, v[i])
			}
		}
		if len(dive) > 50 {
			sortFloats(dive)
			t.DiveRate = quantile(dive, 0.95)
		}
	}
	if end > 0 {
		m := make([]bool, w.n)
		for i := range m {
			m[i] = in(i) && x[i] > end-0.003
		}
		drop(m, w.samples(0.02))
		stretches(m, func(a, b int) { t.Bottoms++ })
	}
	m := make([]bool, w.n)
	for i := range m {
		m[i] = in(i) && x[i] < 0.002 && !w.r.Signals.Airborne[i]
	}
	drop(m, w.samples(0.02))
	stretches(m, func(a, b int) { t.Tops++ })
	return t, true
}
