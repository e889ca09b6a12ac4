package demo

import "math"

// sense turns truth into what a logger writes: each channel on its own clock,
// with its own noise, steps, lag and faults.
func sense(r *Run, s *sim) []Channel {
	o, tr := s.o, &r.Truth
	n := len(tr.Time)
	noise := newSource(o.Seed, 11)
	stride := max(1, int(math.Round(100/o.RateHz)))
	var clock []float64
	var rows []int
	for i := 0; i < n; i += stride {
		rows = append(rows, i)
		clock = append(clock, tr.Time[i])
	}
	var out []Channel
	dropped := map[string]bool{}
	for _, d := range o.Drop {
		dropped[d] = true
	}
	var slow func(name, header, unit string, decimals int, every int, f func(i int) float64)
	add := func(name, header, unit string, decimals int, f func(i int) float64) {
		if dropped[name] {
			return
		}
		if o.Nasty.SlowRate > 0 && slowable[name] {
			slow(name, header, unit, decimals, int(math.Round(100/o.Nasty.SlowRate)), f)
			return
		}
		v := make([]float64, len(rows))
		for k, i := range rows {
			v[k] = roundTo(f(i), decimals)
		}
		out = append(out, Channel{Name: name, Header: header, Unit: unit, Decimals: decimals, Time: clock, Value: v})
	}
	slow = func(name, header, unit string, decimals int, every int, f func(i int) float64) {
		if dropped[name] {
			return
		}
		var t, v []float64
		for i := 0; i < n; i += every {
			t = append(t, tr.Time[i])
			v = append(v, roundTo(f(i), decimals))
		}
		out = append(out, Channel{Name: name, Header: header, Unit: unit, Decimals: decimals, Time: t, Value: v})
	}
	out = append(out, gps(s, dropped)...)

	logF, logR := tr.Front.Logged/(2*math.Pi), tr.Rear.Logged/(2*math.Pi)
	wheel := func(omega []float64, logged float64, purpose uint64) func(i int) float64 {
		if o.Nasty.WheelPulses > 0 {
			seen := pulsed(tr, omega, o, newSource(o.Seed, purpose))
			return func(i int) float64 { return seen[i] * logged * 3.6 }
		}
		return func(i int) float64 {
			return math.Max(0, omega[i]*logged*3.6*(1+0.0006*noise.normal())+noise.normal()*0.05)
		}
	}
	add("front_speed", "Front wheel speed", "km/h", 2, wheel(tr.FrontOmega, logF, 14))
	add("rear_speed", "Rear wheel speed", "km/h", 2, wheel(tr.RearOmega, logR, 15))
	spark := newSource(o.Seed, 16)
	add("rpm", "Engine speed", "1/min", 0, func(i int) float64 {
		n := tr.RPM[i] + noise.normal()*6
		if k := o.Nasty.Ignition; k > 0 && spark.uniform() < k {
			// A spark too many or one missed: the time between two is wrong.
			n *= [...]float64{0.5, 2.0 / 3, 4.0 / 3, 1.5}[int(4*spark.uniform())]
		}
		return n
	})
	add("gear", "Gear", "", 0, func(i int) float64 { return float64(tr.Gear[i]) })
	top := o.Nasty.ThrottleTop
	if top == 0 {
		top = 1
	}
	add("grip", "Twist grip", "%", 1, func(i int) float64 { return 100*top*tr.Grip[i] + noise.normal()*0.05 })
	add("throttle", "Throttle plate", "%", 1, func(i int) float64 {
		return math.Max(0, 100*top*tr.Plate[max(0, i-2)]+noise.normal()*0.1)
	})
	add("cut", "Torque reduction", "%", 1, func(i int) float64 { return math.Max(0, 100*tr.Cut[i]) })
	add("front_brake", "Front brake pressure", "bar", 2, func(i int) float64 {
		return tr.FrontBrake[i]/barPa + noise.normal()*0.015
	})
	add("rear_brake", "Rear brake pressure", "bar", 2, func(i int) float64 {
		return tr.RearBrake[i]/barPa + noise.normal()*0.015
	})
	add("clutch", "Clutch switch", "", 0, func(i int) float64 { return math.Round(tr.Clutch[i]) })
	// What is fixed to the bike feels lean to gravity, not to the road.
	tilt := func(i int) float64 { return tr.Lean[i] + bankAt(s, tr.S[i]) }
	delay := int(math.Round(o.LeanDelay / rowTime))
	scale := o.LeanScale
	if scale == 0 {
		scale = 1
	}
	if o.Nasty.LeanScale != 0 {
		scale *= 1 + o.Nasty.LeanScale
	}
	add("lean", "Lean angle", "deg", 2, func(i int) float64 {
		j := max(0, i-delay)
		return (tilt(j)*scale + o.LeanOffset + noise.normal()*o.LeanNoise) * radDeg
	})
	biasR, biasP, biasY := 0.006*noise.normal(), 0.004*noise.normal(), 0.005*noise.normal()
	add("roll_rate", "Roll rate", "deg/s", 2, func(i int) float64 {
		return (tr.RollRate[i] + biasR + noise.normal()*0.006) * radDeg
	})
	// A heading that turns to the right at rate w seen in the leaned frame.
	turnRate := func(i int) float64 { return tr.Speed[i] * tr.Curvature[i] }
	pitch := func(i int) float64 { // rate of dive and squat, nose down positive
		a, c := max(0, i-3), min(n-1, i+3)
		return tr.pitch[i] - (tr.Accel[c]-tr.Accel[a])/(float64(c-a)*rowTime)*0.0035
	}
	add("pitch_rate", "Pitch rate", "deg/s", 2, func(i int) float64 {
		return (-turnRate(i)*math.Sin(tilt(i)) + pitch(i)*math.Cos(tilt(i)) + biasP + noise.normal()*0.006) * radDeg
	})
	add("yaw_rate", "Yaw rate", "deg/s", 2, func(i int) float64 {
		return (-turnRate(i)*math.Cos(tilt(i)) + biasY + noise.normal()*0.006) * radDeg
	})
	add("accel_x", "Longitudinal acceleration", "g", 3, func(i int) float64 {
		g := s.g.grade[min(int(math.Mod(tr.S[i], s.c.Length)/s.g.step), s.g.n)]
		return tr.Accel[i]/gravity + g + noise.normal()*0.012
	})
	add("accel_y", "Lateral acceleration", "g", 3, func(i int) float64 {
		lat := tr.Speed[i] * tr.Speed[i] * tr.Curvature[i] / gravity
		return -(lat*math.Cos(tilt(i)) - math.Sin(tilt(i))) + noise.normal()*0.02
	})
	add("accel_z", "Vertical acceleration", "g", 3, func(i int) float64 {
		lat := tr.Speed[i] * tr.Speed[i] * tr.Curvature[i] / gravity
		return lat*math.Sin(tilt(i)) + math.Cos(tilt(i)) + noise.normal()*0.05
	})
	add("fork", "Fork travel", "mm", 2, func(i int) float64 { return 1000*tr.Fork[i] + noise.normal()*0.25 })
	add("shock", "Shock travel", "mm", 2, func(i int) float64 { return 1000*tr.Shock[i] + noise.normal()*0.12 })
	add("slot", "Bar switch", "", 0, func(i int) float64 {
		k := int(math.Floor((tr.S[i] + 25) / s.c.Length)) // pressed just before the line
		k = min(max(k, 0), len(s.laps)-1)
		return float64(s.laps[k].slot)
	})
	if o.LapMarker {
		k := 0
		add("lap_marker", "Lap counter", "", 0, func(i int) float64 {
			for k < len(tr.Crossings) && tr.Crossings[k] <= tr.Time[i] {
				k++
			}
			return float64(k)
		})
	}
	heat := newSource(o.Seed, 12)
	slow("coolant", "Coolant temperature", "degC", 1, 100, func(i int) float64 {
		return 84 + 9*(1-math.Exp(-tr.Time[i]/240)) + 1.2*math.Sin(tr.Time[i]/31) + heat.normal()*0.1
	})
	slow("air_temp", "Air temperature", "degC", 1, 100, func(i int) float64 { return o.AirTemp + 0.4*math.Sin(tr.Time[i]/200) })
	slow("lambda", "Lambda", "", 3, 10, func(i int) float64 {
		return 0.88 + 0.03*boolf(tr.Grip[i] < 0.01) + heat.normal()*0.006
	})
	if o.Dirty || o.Nasty.Dropouts {
		spoil(out, newSource(o.Seed, 13), o.Dirty)
	}
	if o.Nasty.Faults {
		fail(out, newSource(o.Seed, 17))
	}
	return out
}

func bankAt(s *sim, place float64) float64 {
	if s.c.bank == nil {
		return 0
	}
	return s.c.Bank(place)
}

var tens = [...]float64{1, 10, 100, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8}

func roundTo(v float64, decimals int) float64 {
	p := tens[decimals]
	return math.Round(v*p) / p
}

// gps gives position, speed, heading and height at the receiver's rate.
func gps(s *sim, dropped map[string]bool) []Channel {
	o, tr := s.o, s.tr
	r := newSource(o.Seed, 10)
	every := 1 / o.GPSRate
	n := len(tr.Time)
	lat0, lon0 := s.c.Latitude/radDeg, s.c.Longitude/radDeg
	sl, cl := math.Sincos(lat0)
	// Radii of curvature of WGS 84 at the origin.
	const a, e2 = 6378137.0, 0.00669437999014132
	w := 1 - e2*sl*sl
	m, nn := a*(1-e2)/(w*math.Sqrt(w)), a/math.Sqrt(w)
	ex, ey := o.GPSSlow*r.normal(), o.GPSSlow*r.normal()
	keep := math.Exp(-every / math.Max(1, o.GPSTau))
	kick := math.Sqrt(1 - keep*keep)
	ev := o.GPSSpeedSlow * r.normal()
	keepV := math.Exp(-every / 2)
	outages, jumps := spans(r, o.GPSOutages+5*int(boolf(o.Dirty)), tr.Time[n-1], 8), spans(r, o.GPSJumps+3*int(boolf(o.Dirty)), tr.Time[n-1], 5)
	spikes := map[int]bool{}
	total := int(tr.Time[n-1] / every)
	for range o.GPSSpikes + 20*int(boolf(o.Dirty)) {
		spikes[int(r.uniform()*float64(total))] = true
	}
	jx := make([][2]float64, len(jumps))
	for i := range jx {
		q := r.between(0, 2*math.Pi)
		jx[i] = [2]float64{4 * math.Cos(q), 4 * math.Sin(q)}
	}
	var t, la, lo, v, h, z []float64
	lagV := 0.0
	lagging := o.Nasty.GPSSpeedLag > 0
	for k := 0; ; k++ {
		at := tick(tr.Time[0] + float64(k)*every)
		if at > tr.Time[n-1] {
			break
		}
		ex = keep*ex + kick*o.GPSSlow*r.normal()
		ey = keep*ey + kick*o.GPSSlow*r.normal()
		ev = keepV*ev + math.Sqrt(1-keepV*keepV)*o.GPSSpeedSlow*r.normal()
		wx, wy, wv := o.GPSWhite*r.normal(), o.GPSWhite*r.normal(), o.GPSSpeedSD*r.normal()
		if inside(outages, at) >= 0 {
			continue
		}
		q := at + o.Nasty.GPSDrift*(at-tr.Time[0]) - o.GPSLatency
		i := tr.index(math.Max(q, tr.Time[0]))
		f := 0.0
		if i+1 < n && tr.Time[i+1]-tr.Time[i] < 1 {
			f = math.Max(0, math.Min(1, (q-tr.Time[i])/(tr.Time[i+1]-tr.Time[i])))
		} else {
			i = min(i, n-2)
		}
		mix := func(x []float64) float64 { return x[i] + f*(x[i+1]-x[i]) }
		x, y := mix(tr.X), mix(tr.Y)
		lean := mix(tr.Lean)
		th := mix(tr.Heading)
		if hA := o.Nasty.AntennaHeight; hA > 0 {
			// The antenna leans to the inside.
			d := hA * math.Sin(lean)
			x += d * math.Sin(th)
			y -= d * math.Cos(th)
		}
		x += o.GPSOffset[0] + ex + wx
		y += o.GPSOffset[1] + ey + wy
		if j := inside(jumps, at); j >= 0 {
			x += jx[j][0]
			y += jx[j][1]
		}
		if spikes[k] {
			q := r.between(0, 2*math.Pi)
			x += 25 * math.Cos(q)
			y += 25 * math.Sin(q)
		}
		sp := mix(tr.Speed)
		if hA := o.Nasty.AntennaHeight; hA > 0 {
			sp *= 1 - mix(tr.Curvature)*hA*math.Sin(lean) // it runs on the smaller radius
		}
		if lagging {
			lagV += (sp - lagV) * math.Min(1, every/o.Nasty.GPSSpeedLag)
			sp = lagV
		}
		dlat := y / m
		dlon := x / (nn * cl)
		dlon *= 1 + math.Tan(lat0)*dlat
		dlat -= 0.5 * nn * sl * cl * dlon * dlon / m
		t = append(t, at)
		la = append(la, roundTo((lat0+dlat)*radDeg, 7))
		lo = append(lo, roundTo((lon0+dlon)*radDeg, 7))
		v = append(v, roundTo(math.Max(0, sp+wv+ev)*3.6, 2))
		head := 90 - th*radDeg + 0.25*r.normal()*math.Max(1, 15/math.Max(1, sp))
		head = math.Mod(math.Mod(head, 360)+360, 360)
		h = append(h, roundTo(head, 2))
		z = append(z, roundTo(285+s.c.Height(math.Mod(tr.S[i], s.c.Length))+1.5*r.normal(), 1))
	}
	var out []Channel
	put := func(name, header, unit string, dec int, val []float64) {
		if !dropped[name] {
			out = append(out, Channel{Name: name, Header: header, Unit: unit, Decimals: dec, Time: t, Value: val})
		}
	}
	put("latitude", "Latitude", "deg", 7, la)
	put("longitude", "Longitude", "deg", 7, lo)
	put("gps_speed", "GPS speed", "km/h", 2, v)
	put("gps_heading", "GPS heading", "deg", 2, h)
	put("altitude", "GPS height", "m", 1, z)
	return out
}

// spans draws n stretches of the given length.
func spans(r *source, n int, total, length float64) [][2]float64 {
	var out [][2]float64
	for range n {
		a := r.between(0.08, 0.92) * total
		out = append(out, [2]float64{a, a + length*r.between(0.7, 1.3)})
	}
	return out
}

func inside(s [][2]float64, t float64) int {
	for i, x := range s {
		if t >= x[0] && t < x[1] {
			return i
		}
	}
	return -1
}

// spoil damages channels as sensors do: stretches without samples, and in a
// dirty recording one that sticks and some spikes.
func spoil(chs []Channel, r *source, dirty bool) {
	for k := range chs {
		c := &chs[k]
		switch c.Name {
		case "front_brake", "fork", "shock", "throttle", "roll_rate", "rear_speed", "lean":
		default:
			continue
		}
		n := len(c.Time)
		if n < 4000 {
			continue
		}
		total := c.Time[n-1]
		holes := spans(r, 1+int(r.uniform()*2), total, 1.5)
		stuck := [2]float64{-1, -1}
		if dirty && c.Name == "shock" {
			a := r.between(0.3, 0.6) * total
			stuck = [2]float64{a, a + 25}
		}
		var t, v []float64
		last := 0.0
		for i, at := range c.Time {
			if inside(holes, at) >= 0 {
				continue
			}
			x := c.Value[i]
			if at >= stuck[0] && at < stuck[1] {
				x = last
			} else {
				last = x
			}
			if dirty && r.uniform() < 2e-5 {
				x += 40 * math.Copysign(1, r.normal())
			}
			t, v = append(t, at), append(v, x)
		}
		c.Time, c.Value = t, v
	}
}
