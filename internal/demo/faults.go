package demo

import "math"

// slowable are the channels that Nasty.SlowRate slows.
var slowable = map[string]bool{"front_brake": true, "rear_brake": true, "lean": true, "roll_rate": true, "pitch_rate": true,
	"yaw_rate": true, "accel_x": true, "accel_y": true, "accel_z": true, "fork": true, "shock": true}

// pulsed is a wheel's turning rate (rad/s) as a logger takes it from pulses: the
// pulses since the last row over the time they took, held while none comes and
// nought after a quarter of a second without. Teeth stand unevenly, by 1 % of
// their pitch, the same on every turn; now and then the sensor misses one.
func pulsed(tr *Truth, omega []float64, o *Options, r *source) []float64 {
	teeth := o.Nasty.WheelPulses
	pitch := 2 * math.Pi / float64(teeth)
	uneven := make([]float64, teeth)
	for k := range uneven {
		uneven[k] = 0.01 * pitch * r.normal()
	}
	out := make([]float64, len(omega))
	turned := 0.0 // rad since the beginning
	k := 1        // next pulse
	at := func(k int) float64 { return float64(k)*pitch + uneven[k%teeth] }
	lastT, held, count := tr.Time[0], 0.0, 0
	for i := 1; i < len(omega); i++ {
		t0, dt := tr.Time[i-1], tr.Time[i]-tr.Time[i-1]
		w := math.Max(0, (omega[i-1]+omega[i])/2)
		d := w * dt
		newest := math.NaN()
		for ; d > 0 && at(k) <= turned+d; k++ {
			if o.Nasty.MissedPulses > 0 && r.uniform() < o.Nasty.MissedPulses {
				continue
			}
			newest = t0 + dt*(at(k)-turned)/d
			count++
		}
		turned += d
		switch {
		case count > 0:
			held = float64(count) * pitch / math.Max(1e-4, newest-lastT)
			lastT, count = newest, 0
		case tr.Time[i]-lastT > 0.25:
			held = 0
		}
		out[i] = held
	}
	return out
}

// fail makes sensors fail as they do: a value that stands, nought, NaN, and
// single wild samples, each a few times on the run.
func fail(chs []Channel, r *source) {
	const (
		stands = iota
		nought
		silent
	)
	for k := range chs {
		c := &chs[k]
		wild := 0.0
		var kinds []int
		switch c.Name {
		case "front_speed", "rear_speed":
			wild, kinds = 60, []int{stands, nought, silent}
		case "rpm":
			wild, kinds = 5000, []int{nought, silent}
		case "gps_speed":
			wild, kinds = 70, []int{nought}
		case "lean":
			wild, kinds = 35, []int{stands, silent}
		case "fork", "shock":
			wild, kinds = 40, []int{stands}
		case "throttle", "grip", "front_brake", "cut":
			kinds = []int{silent}
		default:
			continue
		}
		n := len(c.Time)
		if n < 1000 {
			continue
		}
		v := append([]float64(nil), c.Value...)
		for _, kind := range kinds {
			for _, s := range spans(r, 2, c.Time[n-1], 2.5) {
				still := math.NaN()
				for i, t := range c.Time {
					if t < s[0] || t >= s[1] {
						continue
					}
					switch kind {
					case stands:
						if math.IsNaN(still) {
							still = v[i]
						}
						v[i] = still
					case nought:
						v[i] = 0
					case silent:
						v[i] = math.NaN()
					}
				}
			}
		}
		if wild > 0 {
			for range 12 {
				i := int(r.uniform() * float64(n))
				v[i] = roundTo(v[i]+math.Copysign(wild*r.between(0.6, 1.4), r.normal()), c.Decimals)
			}
		}
		c.Value = v
	}
}
