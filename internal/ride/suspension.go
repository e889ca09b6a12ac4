package ride

import (
	"fmt"
	"math"
	"slices"

	"cornerwright/internal/circuit"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
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
			w.cannot(say.T("{name} travel", say.Key(e.name)), say.T("it is not logged"), say.T("log it at 200 samples a second for velocities"))
			continue
		}
		c := w.rec.Channel(map[string]string{"fork": recording.Fork, "shock": recording.Shock}[e.name])
		var v []float64
		if rate := c.Rate(); rate >= 95 {
			v = w.mem.take()
			defer w.mem.back(v)
			w.slope(v, e.x, 25)
		} else {
			w.cannot(say.T("{name} velocity", say.Key(e.name)), say.T("{name} is logged at {rate} samples a second; 100 are needed", e.name, fmt.Sprintf("%.0f", rate)), say.T("log it faster"))
		}
		w.r.Travel = append(w.r.Travel, w.travel(e.name, e.x, v, e.end, phases)...)
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
		var last circuit.Phase
		var number int8
		for i := w.index(p.Start); i < w.index(p.End); i++ {
			if ph := p.PhaseAt(w.time(i)); ph != last || number == 0 {
				last, number = ph, int8(slices.Index(circuit.Phases, ph)+1)
			}
			if number > 0 {
				g[i] = number
			}
		}
	}
	return g
}

// Bins of travel and of its velocity.
const (
	dipBin    = 1e-4 // m; finer than any sensor, for quantiles by counting
	travelBin = finePer * dipBin
	finePer   = 50
	speedBin  = 0.02 // m/s
	speedHalf = 50   // bins on either side of nil
)

// ends counts the times that a travel stays beyond a level for at least so many
// samples.
type ends struct{ run, times int }

func (e *ends) see(in bool, least int) {
	if !in {
		e.run = 0
		return
	}
	if e.run++; e.run == least {
		e.times++
	}
}

// travelCount is what one phase collects on the way over the samples.
type travelCount struct {
	n           int
	least       float64 // m, of the first bin
	dips        []int32 // by travel in bins of dipBin
	speed       [2 * speedHalf]int32
	still       int32
	comp, reb   [3]int32
	dive        []float64
	bottom, top ends
}

// travel walks once over the samples and gives a row for all phases together and
// one for each that lasted for three seconds or more.
func (w *work) travel(name string, x, v []float64, end float64, grid []int8) []Travel {
	least, most := 0.0, 0.0 // whole bins of travel
	for _, a := range x {
		if a < least {
			least = a
		} else if a > most {
			most = a
		}
	}
	least = travelBin * math.Floor(math.Max(least, -1)/travelBin)
	counts := make([]travelCount, 1+len(circuit.Phases))
	for k := range counts {
		counts[k].least = least
		counts[k].dips = make([]int32, 1+int((math.Min(most, 1)-least)/dipBin))
	}
	knee := func(a float64) int { return b01(a >= 0.08) + b01(a >= 0.25) }
	short := w.samples(0.02)
	fork := name == "fork"
	air := w.r.Signals.Airborne
	for i := range x {
		on := w.speed[i] > 8 && !math.IsNaN(x[i])
		bottom := on && end > 0 && x[i] > end-0.003
		top := on && x[i] < 0.002 && !air[i]
		for k := range counts {
			if !bottom && counts[k].bottom.run == 0 && !top && counts[k].top.run == 0 {
				continue
			}
			mine := k == 0 || int(grid[i]) == k
			counts[k].bottom.see(mine && bottom, short)
			counts[k].top.see(mine && top, short)
		}
		if !on {
			continue
		}
		dip := max(0, min(len(counts[0].dips)-1, int((x[i]-least)/dipBin+1e-6)))
		var bin, step int
		if v != nil {
			bin = max(0, min(2*speedHalf-1, int(math.Floor(v[i]/speedBin))+speedHalf))
			step = knee(math.Abs(v[i]))
		}
		for _, k := range [2]int{0, int(grid[i])} {
			c := &counts[k]
			c.n++
			c.dips[dip]++
			if v != nil {
				c.speed[bin]++
				switch {
				case math.Abs(v[i]) < 0.01:
					c.still++
				case v[i] > 0:
					c.comp[step]++
				default:
					c.reb[step]++
				}
				if fork && v[i] > 0 && w.braking[i] && i%2 == 0 {
					c.dive = append(c.dive, v[i])
				}
			}
			if k == 0 && grid[i] == 0 {
				break
			}
		}
	}
	var out []Travel
	for k := range counts {
		c := &counts[k]
		if c.n < w.samples(3) {
			continue
		}
		phase := "all"
		if k > 0 {
			phase = string(circuit.Phases[k-1])
		}
		out = append(out, c.row(name, phase, w.dt, v != nil))
	}
	return out
}

// row turns counts into shares and quantiles.
func (c *travelCount) row(name, phase string, dt float64, hasSpeed bool) Travel {
	t := Travel{End: name, Phase: phase, Bin: travelBin, SpeedBin: speedBin, Seconds: float64(c.n) * dt,
		Bottoms: c.bottom.times, Tops: c.top.times}
	one := 1 / float64(c.n)
	last := 0
	for k, n := range c.dips {
		if n > 0 {
			last = k
		}
	}
	below := int(-c.least/travelBin + 0.5) // bins of travel below nil: in the first
	t.Share = make([]float64, max(0, last/finePer-below)+1)
	seen, q := 0, 0
	for k, n := range c.dips[:last+1] {
		t.Share[max(0, k/finePer-below)] += one * float64(n)
		seen += int(n)
		for ; q < len(t.P) && float64(seen) > travelQuantiles[q]*float64(c.n-1)+0.5; q++ {
			t.P[q] = c.least + (float64(k)+0.5)*dipBin
		}
	}
	if !hasSpeed {
		return t
	}
	t.HasSpeed = true
	t.SpeedShare = make([]float64, 2*speedHalf)
	for k, n := range c.speed {
		t.SpeedShare[k] = one * float64(n)
	}
	t.Still = one * float64(c.still)
	for k, to := range [2][3]*float64{{&t.CompLow, &t.CompMid, &t.CompHigh}, {&t.RebLow, &t.RebMid, &t.RebHigh}} {
		for j, f := range to {
			*f = one * float64([2][3]int32{c.comp, c.reb}[k][j])
		}
	}
	if len(c.dive) > 25 {
		t.DiveRate = quick(c.dive, 0.95)
	}
	return t
}

// travelQuantiles are those that Travel.P holds.
var travelQuantiles = [5]float64{0.01, 0.05, 0.5, 0.95, 0.99}
