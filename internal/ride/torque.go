package ride

import (
	"math"
	"sort"

	"cornerwright/internal/bike"
	"cornerwright/internal/say"
)

// PullBin is the width of a bin of engine speed, 1/min.
const PullBin = 500.0

// pullBand is the low-pass of the accelerations that torque is read from, 1/s.
const pullBand = 6.0

// Pull is full throttle in one gear through one bin of engine speed on one
// lap's way out of one turn.
type Pull struct {
	Lap, Turn, Gear int
	RPM             float64 // 1/min, lower edge of the bin
	Torque          float64 // N.m at the crank, mean
	Seconds         float64
	// Wind is by how much Torque reads too high for each m/s of wind towards the
	// east and towards the north, N.m.
	Wind [2]float64
	// Radius is the upright rolling radius of the rear tyre that the torque was
	// taken with (m), RadiusSE its standard error as a share.
	Radius, RadiusSE float64
	// PowerFactor is that of the run's Air, 0 if not known.
	PowerFactor float64
	// PerKilogram is what one more kilogram than the bike file's mass would add, N.m.
	PerKilogram float64
}

// pulls collects full throttle, upright, gripping, unshifted and uncut.
func (w *work) pulls() {
	s := &w.r.Signals
	switch {
	case s.Force == nil, s.Gear == nil, s.RPM == nil, s.Grip == nil, len(w.b.Drive.Gears) == 0:
		w.cannot(say.T("engine torque"), say.T("it needs mass, drag area and ratios in the bike file, and engine speed, gear and grip in the recording"), say.T("give and log them"))
		return
	case w.r.Circuit == nil:
		return
	}
	full := 0.97 * w.full
	a := w.mem.take()
	defer w.mem.back(a)
	spin := w.wheelSpin(a, pullBand)
	if spin != nil {
		defer w.mem.back(spin)
	}
	// Nothing that changes the force in a step may be nearer than the filter sees.
	// No sample is left out for its slip: the more an engine gives the more the
	// tyre slips, and leaving out the much slipping would leave out the strong.
	out := w.mem.mask()
	defer w.mem.put(out)
	for i := range out {
		out[i] = s.Grip[i] < full || s.Airborne[i] || w.braking[i] || w.shifting[i] || s.Gear[i] == 0 ||
			s.Cut != nil && s.Cut[i] > 0.02 || w.b.Drive.LimiterRPM > 0 && s.RPM[i] > w.b.Drive.LimiterRPM-100 ||
			s.RearSlip != nil && !(s.RearSlip[i] < 0.3)
	}
	widen(out, w.samples(0.08), w.samples(0.08))
	type key struct{ lap, turn, gear, bin int }
	type cell struct {
		sum, mass float64
		wind      [2]float64
		n         int
	}
	cells := map[key]*cell{}
	radiusSE := w.r.Tyres.Rear.CircumferenceSE / math.Max(w.r.Tyres.Rear.Circumference, 1)
	for i := 0; i < w.n; i++ {
		if out[i] || math.Abs(s.Lean[i]) > 12*math.Pi/180 || w.speed[i] < 12 {
			continue
		}
		g := int(s.Gear[i])
		k := key{int(w.lap[i]), w.r.Circuit.TurnAt(w.pos.S[i]), g, int(s.RPM[i] / PullBin)}
		c := cells[k]
		if c == nil {
			c = &cell{}
			cells[k] = c
		}
		r := bike.Rolling(w.rearRadius, w.rearCrown, s.Lean[i])
		turn := a[i] / r
		if spin != nil {
			turn = spin[i]
		}
		c.sum += w.b.CrankTorque(w.b.RearForce(a[i], w.speed[i], 0), turn, r, g)
		// A head wind of one m/s adds Drag(v+1) - Drag(v), about Drag'(v).
		arm := w.b.CrankTorque(1, 0, r, g)
		head := arm * (w.b.Drag(w.speed[i]+0.5) - w.b.Drag(w.speed[i]-0.5))
		sin, cos := math.Sincos(w.pos.Heading[i])
		c.wind[0] += head * sin
		c.wind[1] += head * cos
		c.mass += arm * (a[i] + bike.Gravity*w.b.Air.RollingCoefficient)
		c.n++
	}
	for k, c := range cells {
		if c.n < 3 {
			continue
		}
		n := float64(c.n)
		w.r.Pulls = append(w.r.Pulls, Pull{Lap: k.lap, Turn: k.turn, Gear: k.gear, RPM: float64(k.bin) * PullBin, Torque: c.sum / n, Seconds: n * w.dt,
			Wind: [2]float64{c.wind[0] / n, c.wind[1] / n}, Radius: w.rearRadius, RadiusSE: radiusSE, PerKilogram: c.mass / n, PowerFactor: w.r.Air.PowerFactor})
	}
	sort.Slice(w.r.Pulls, func(i, j int) bool {
		a, b := w.r.Pulls[i], w.r.Pulls[j]
		switch {
		case a.Lap != b.Lap:
			return a.Lap < b.Lap
		case a.Turn != b.Turn:
			return a.Turn < b.Turn
		case a.Gear != b.Gear:
			return a.Gear < b.Gear
		}
		return a.RPM < b.RPM
	})
}

// wheelSpin is the angular acceleration of the rear wheel in rad/s2 below band
// 1/s, nil without rear wheel speed. What spins up wheel and engine is this: the
// bike's acceleration over the radius leaves out that slip grows and shrinks.
// accel takes the acceleration of the ground speed below the same band (m/s2).
func (w *work) wheelSpin(accel []float64, band float64) []float64 {
	if w.rear == nil || w.b.Rear.Circumference == 0 {
		w.slope(accel, w.speed, band)
		return nil
	}
	spin := w.mem.take()
	w.slopes(accel, w.speed, spin, w.rear, band)
	k := 2 * math.Pi / (w.b.Rear.Circumference * w.wheelScale)
	for i := range spin {
		spin[i] *= k
	}
	return spin
}

// TorqueBin is torque against engine speed with its interval over laps.
type TorqueBin struct {
	RPM    float64  // 1/min, lower edge of a 500/min bin
	Torque Interval // N.m at the crank
}
