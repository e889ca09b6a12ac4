package bike

import (
	"math"
	"sort"
)

// GearInput is what gears are told from, on one even grid.
type GearInput struct {
	DT     float64
	RPM    []float64 // rad/s
	Rear   []float64 // m/s, rear wheel as logged
	Clutch []float64 // 0 home .. 1 pulled; nil without the switch
}

// Gears tells the gear at every sample (0: not known) from the ratio of engine
// to rear wheel, together with the common scale between ratios as logged and as
// the file gives them (1 if the logged circumference is right). The rear wheel
// is geared to the engine whatever it slips, and the common scale takes a wrong
// circumference out. ok is false where the ratios do not explain the run.
func Gears(in GearInput, b *Bike) (gear []int8, scale float64, ok bool) {
	d := b.Drive
	n := len(in.RPM)
	gear = make([]int8, n)
	if len(d.Gears) == 0 || b.Rear.Circumference == 0 {
		return gear, 1, false
	}
	k := len(d.Gears)
	logs := make([]float64, k)
	for g := range logs {
		logs[g] = math.Log(d.Total(g + 1))
	}
	perMetre := 2 * math.Pi / b.Rear.Circumference
	ratio := make([]float64, n)
	usable := func(i int) bool {
		return in.Rear[i] > 5 && in.RPM[i] > 150 && (in.Clutch == nil || in.Clutch[i] < 0.2)
	}
	var sample []float64
	for i := range ratio {
		if !usable(i) {
			ratio[i] = math.NaN()
			continue
		}
		ratio[i] = math.Log(in.RPM[i] / (in.Rear[i] * perMetre))
		if i%10 == 0 {
			sample = append(sample, ratio[i])
		}
	}
	if len(sample) < 50 {
		return gear, 1, false
	}
	scale = commonScale(sample, logs)
	shift := math.Log(scale)
	const accept = 0.022
	near := func(r float64) int8 {
		best, at := math.Inf(1), 0
		for g, l := range logs {
			if e := math.Abs(r - l - shift); e < best {
				best, at = e, g
			}
		}
		lim := accept
		if at > 0 {
			lim = math.Min(lim, 0.45*(logs[at-1]-logs[at]))
		}
		if best > lim {
			return 0
		}
		return int8(at + 1)
	}
	matched, all := 0, 0
	still := max(1, int(math.Round(0.04/in.DT)))
	for i, r := range ratio {
		if math.IsNaN(r) {
			continue
		}
		all++
		// A wheel is geared to its engine: while the ratio moves, the clutch slips,
		// and passing another gear's ratio says nothing.
		if i >= still && i+still < n && math.Abs(ratio[i+still]-ratio[i-still]) > 0.012 {
			continue
		}
		gear[i] = near(r)
		if gear[i] != 0 {
			matched++
		}
	}
	persist(gear, int(math.Round(0.06/in.DT)))
	fillShifts(gear, ratio, logs, shift, in)
	return gear, scale, matched*10 > all*6
}

// commonScale finds the factor, within 8 %, that puts most ratios on a gear.
func commonScale(sample, logs []float64) float64 {
	score := func(shift float64) float64 {
		var s float64
		for _, r := range sample {
			best := math.Inf(1)
			for _, l := range logs {
				if e := math.Abs(r - l - shift); e < best {
					best = e
				}
			}
			s += math.Exp(-0.5 * sq(best/0.006))
		}
		return s
	}
	best, at := -1.0, 0.0
	if len(sample) > 1500 {
		thin := make([]float64, 0, 1500)
		for i := 0; i < len(sample); i += 1 + len(sample)/1500 {
			thin = append(thin, sample[i])
		}
		sample = thin
	}
	for s := -0.08; s <= 0.0801; s += 0.004 {
		// A circumference that is nearly right is likelier than one a whole
		// tooth's worth off.
		if v := score(s) * (1 - 0.5*math.Abs(s)); v > best {
			best, at = v, s
		}
	}
	// Refine by the median residual.
	for range 3 {
		var res []float64
		for _, r := range sample {
			b := math.Inf(1)
			for _, l := range logs {
				if e := r - l - at; math.Abs(e) < math.Abs(b) {
					b = e
				}
			}
			if math.Abs(b) < 0.015 {
				res = append(res, b)
			}
		}
		if len(res) < 20 {
			break
		}
		sort.Float64s(res)
		at += res[len(res)/2]
	}
	return math.Exp(at)
}

// persist takes back runs of a gear that are shorter than k samples.
func persist(gear []int8, k int) {
	n := len(gear)
	for i := 0; i < n; {
		j := i
		for j < n && gear[j] == gear[i] {
			j++
		}
		if gear[i] != 0 && j-i < k {
			for m := i; m < j; m++ {
				gear[m] = 0
			}
		}
		i = j
	}
}

// fillShifts gives the samples between two known gears to one or the other:
// across a pulled clutch at its middle, at an upshift where the ratio of the
// old gear breaks, at a downshift without a clutch switch in the middle.
func fillShifts(gear []int8, ratio, logs []float64, shift float64, in GearInput) {
	n := len(gear)
	longest := int(2.0 / in.DT)
	last := -1
	for i := 0; i < n; i++ {
		if gear[i] == 0 {
			continue
		}
		if last >= 0 && i-last > 1 && i-last <= longest {
			a, b := gear[last], gear[i]
			at := (last + i + 1) / 2
			if a != b {
				if in.Clutch != nil {
					if pulls := clutchPulls(in.Clutch, last, i); len(pulls) > 0 {
						if len(pulls) == int(a)-int(b) {
							// As many pulls as gears: one gear each, though the ratio never settled
							// between them.
							g, from := a, last+1
							for _, p := range pulls {
								for k := from; k < p; k++ {
									gear[k] = g
								}
								g--
								from = p
							}
							for k := from; k < i; k++ {
								gear[k] = b
							}
							last = i
							continue
						}
						at = pulls[0]
					} else if b > a {
						at = breakOff(ratio, logs, shift, last, int(a))
					}
				} else if b > a {
					at = breakOff(ratio, logs, shift, last, int(a))
				}
			}
			for k := min(last+1, at); k < i; k++ {
				if k < at {
					gear[k] = a
				} else {
					gear[k] = b
				}
			}
		}
		last = i
	}
}

// breakOff is the sample after last at which an upshift left gear a: engine speed
// has begun to fall a little before the ratio is clearly another. Without
// ratios it is the next sample.
func breakOff(ratio, logs []float64, shift float64, last, a int) int {
	at := last + 1
	if ratio == nil {
		return at
	}
	for at > 1 && at > last-8 && ratio[at-1] < logs[a-1]+shift-0.004 {
		at--
	}
	return at
}

// clutchPulls lists the middles of the pulls of the clutch from sample a to b.
func clutchPulls(c []float64, a, b int) []int {
	var out []int
	for i := a; i <= b && i < len(c); i++ {
		if c[i] <= 0.5 {
			continue
		}
		j := i
		for j < len(c) && c[j] > 0.5 {
			j++
		}
		out = append(out, (i+j)/2)
		i = j
	}
	return out
}

// CleanGear takes a logged gear channel (0 neutral, on the grid) and gives the
// short neutrals between two gears to the gear before their middle and after.
func CleanGear(logged []float64, dt float64) []int8 {
	gear := make([]int8, len(logged))
	for i, g := range logged {
		if g > 0.5 && g < 9 {
			gear[i] = int8(math.Round(g))
		}
	}
	fillShifts(gear, nil, nil, 0, GearInput{DT: dt})
	return gear
}
