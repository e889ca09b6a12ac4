package proving_test

import (
	"math"
	"math/rand/v2"
)

// A stranger is a second simulator, written apart from the demo world and simpler:
// a smoothed polygon for a circuit, torque that follows the plate one to one, a
// driveline without any give, slip that follows force at once, GPS without heading
// whose slow error is twice as large. What holds in the demo world alone does not
// hold here.
type stranger struct {
	file   []byte
	s      []float64     // m ridden, by row of 10 ms
	cuts   []strangerCut // of 38 % of torque
	capped []bool        // by row: the plate holds the torque down to the cap of the low gears
	turns  int           // stretches of less than 200 m radius
	double int           // of them that follow another closely, the same way
	// metres of one lap; places of the line by metre, degrees
	length   int
	lat, lon []float64
	circF    float64 // m
	delay    float64 // s that GPS is late
}

// strangerRow is the truth every 10 ms: m, m/s, rad, m/s2, 1/min, shares, N, rad/s.
type strangerRow struct{ x, y, v, lean, ax, rpm, grip, plate, cut, brake, front, rear, gear, heading, yaw float64 }

type strangerCut struct{ from, to float64 }

const (
	strangerStart = 12.4 // s, the file's first instant
	strangerG     = 9.80665
)

// strangerLine smooths a polygon along its way and cuts it in metres.
func strangerLine(p [][2]float64) (xs, ys []float64) {
	var px, py []float64
	for i := range p {
		a, b := p[i], p[(i+1)%len(p)]
		n := int(math.Hypot(b[0]-a[0], b[1]-a[1]))
		for k := range n {
			f := float64(k) / float64(n)
			px, py = append(px, a[0]+f*(b[0]-a[0])), append(py, a[1]+f*(b[1]-a[1]))
		}
	}
	n := len(px)
	smooth := func(v []float64) []float64 {
		o := make([]float64, n)
		for i := range o {
			w, t := 0.0, 0.0
			for k := -60; k <= 60; k++ {
				g := math.Exp(-float64(k*k) / (2 * 17 * 17))
				w, t = w+g, t+g*v[(i+k+n)%n]
			}
			o[i] = t / w
		}
		return o
	}
	px, py = smooth(px), smooth(py)
	way := []float64{0}
	for i := range n {
		way = append(way, way[i]+math.Hypot(px[(i+1)%n]-px[i], py[(i+1)%n]-py[i]))
	}
	m, j := int(way[n]), 0
	for i := range m {
		s := float64(i) * way[n] / float64(m)
		for way[j+1] <= s {
			j++
		}
		f := (s - way[j]) / (way[j+1] - way[j])
		k := (j + 1) % n
		xs, ys = append(xs, px[j]+f*(px[k]-px[j])), append(ys, py[j]+f*(py[k]-py[j]))
	}
	return xs, ys
}

// strangerAt is v at place s of a closed line, in a straight line between metres.
func strangerAt(v []float64, s float64) float64 {
	n := len(v)
	s = math.Mod(s+float64(n), float64(n))
	i := int(s) % n
	f := s - math.Floor(s)
	return v[i]*(1-f) + v[(i+1)%n]*f
}

const strangerBike = `name = "Teal 900"
[mass]
total_kg = 265
centre_height_m = 0.64
wheelbase_m = 1.42
centre_to_rear_m = 0.70
[tyre.front]
marking = "120/70 ZR17"
circumference_m = 1.931
crown_radius_m = 0.060
[tyre.rear]
marking = "200/60 ZR17"
circumference_m = 1.966
crown_radius_m = 0.098
[drive]
primary = 1.66
gears = [2.5, 2.05, 1.72, 1.5, 1.36, 1.26]
front_sprocket = 16
rear_sprocket = 42
limiter_rpm = 14300
[air]
drag_area_m2 = 0.34
rolling_coefficient = 0.016
[slots]
reference = "A"
trial = "B"
`

// strangerRide rides laps round the polygon; italian takes the other of two loggers,
// without names columns that the file leaves out.
func strangerRide(polygon [][2]float64, laps int, seed uint64, italian bool, without ...string) *stranger {
	r := rand.New(rand.NewPCG(seed, 77))
	xs, ys := strangerLine(polygon)
	n := len(xs)
	round := float64(n)
	heading, bend := make([]float64, n), make([]float64, n)
	for i := range xs {
		a, b := (i-1+n)%n, (i+1)%n
		heading[i] = math.Atan2(ys[b]-ys[a], xs[b]-xs[a])
	}
	for i := range xs {
		d := heading[(i+2)%n] - heading[(i-2+n)%n]
		bend[i] = (math.Mod(d+3*math.Pi, 2*math.Pi) - math.Pi) / 4
	}
	var apexes []float64
	for i := range bend {
		if math.Abs(bend[i]) > 1./200 && math.Abs(bend[(i-1+n)%n]) <= 1./200 {
			best := i
			for j := i; math.Abs(bend[j%n]) > 1./200 && bend[j%n]*bend[i] > 0; j++ {
				if math.Abs(bend[j%n]) > math.Abs(bend[best%n]) {
					best = j
				}
			}
			apexes = append(apexes, float64(best%n))
		}
	}
	// Two bends the same way with less than 40 m between them may be one turn.
	x := &stranger{turns: len(apexes), length: n}
	for q, at := range apexes {
		next := apexes[(q+1)%len(apexes)]
		gap := 0
		for i := at; i != next; i = math.Mod(i+1, round) {
			if math.Abs(bend[int(i)]) <= 1./200 {
				gap++
			}
		}
		if gap < 40 && bend[int(at)]*bend[int(next)] > 0 {
			x.double++
		}
	}
	since := func(s, at float64) float64 { return math.Mod(s-at+2*round, round) }

	// What the tyres allow, lap by lap, with this rider's scatter.
	limit := make([]float64, n)
	pick, line := make([]float64, len(apexes)), make([]float64, 6)
	for k := range line {
		line[k] = 0.28 * r.NormFloat64()
	}
	aside := func(s float64) float64 {
		f := 2 * math.Pi * s / round
		return line[0]*math.Sin(f) + line[1]*math.Cos(2*f) + line[2]*math.Sin(3*f+1) + line[3]*math.Sin(5*f) + line[4]*math.Cos(7*f) + line[5]*math.Sin(9*f+2)
	}
	plan := func(lap int) {
		warm := math.Min(1, 0.97+0.008*float64(lap))
		pace := make([]float64, len(apexes))
		for q := range apexes {
			pace[q], pick[q] = 1+0.012*r.NormFloat64(), 4*r.NormFloat64()
		}
		for i := range limit {
			p := 1.0
			for q, at := range apexes {
				if d := since(float64(i), at-80); d < 160 {
					p = pace[q]
				}
			}
			limit[i] = math.Min(95, math.Sqrt(12.2*warm*warm/(math.Abs(bend[i])+1e-6))*p)
		}
		for i := 2*n - 1; i >= 0; i-- {
			next := limit[(i+1)%n]
			aside := next * next * math.Abs(bend[(i+1)%n]) / 12.8
			limit[i%n] = math.Min(limit[i%n], math.Sqrt(next*next+2*10.2*math.Sqrt(math.Max(0.02, 1-aside*aside))))
		}
	}
	plan(0)

	const radiusF, radiusR, crownF, crownR, mass, dt = 0.301, 0.318, 0.058, 0.096, 265.0, 0.002
	gears := []float64{2.5, 2.05, 1.72, 1.5, 1.36, 1.26}
	torque := func(rpm float64) float64 { u := (rpm - 11000) / 6000; return 112 - 24*u*u }
	var rows []strangerRow
	s, v, gear, lap := round-350-60*r.Float64(), 16.0, 2, 0
	var t, grip, cut, brake, shift, blip float64
	for k := 0; lap <= laps || math.Mod(s, round) <= 260; k++ {
		here := math.Mod(s, round)
		kp, ahead := strangerAt(bend, here), strangerAt(limit, here+0.12*v)
		ideal := math.Atan(v * v * kp / strangerG)
		lean := 0.96 * (ideal + math.Asin(0.077*math.Sin(ideal)/(0.64-0.077)))
		turn := 0
		for q := range apexes {
			if since(here, apexes[q]) < since(here, apexes[turn]) {
				turn = q
			}
		}
		want, onBrakes := 0.0, false
		if v > strangerAt(limit, here)+0.05 || ahead < v-0.02 {
			onBrakes = (v-ahead)/0.12 > 2.5 && ahead < v-0.02
		} else {
			u := math.Tan(ideal) * strangerG / 12.9
			want = math.Min(1, 0.12+1.05*math.Sqrt(math.Max(0, 1-u*u)))
			if v > 0.985*strangerAt(limit, here) {
				want = math.Min(want, 0.25)
			}
		}
		grip += math.Max(-9*dt, math.Min(3.2*dt, want-grip))
		// Every third turn is cut for 16 m of its drive.
		wantCut := 0.0
		if d := since(here, apexes[turn]); turn%3 == 1 && grip > 0.35 && d > 15+pick[turn] && d < 31+pick[turn] {
			wantCut = 0.38
		}
		was := cut
		cut += dt / 0.025 * (wantCut - cut)
		switch {
		case cut > 0.05 && was <= 0.05:
			x.cuts = append(x.cuts, strangerCut{from: strangerStart + t})
		case cut <= 0.05 && was > 0.05:
			x.cuts[len(x.cuts)-1].to = strangerStart + t
		}
		ratio := gears[gear-1] * 1.66 * 42 / 16
		roll := radiusR - crownR*(1-math.Cos(lean))
		force, cap := 0.0, 1.0
		if shift -= dt; shift <= 0 {
			full := grip * torque(v/roll*ratio*30/math.Pi) * ratio * 0.93 / roll
			cap = math.Min(1, 2650/math.Max(full, 1)) // no more than 2650 N, by the plate
			force = full * cap * (1 - cut)
		}
		if grip < 0.03 {
			force = -(200 + 45*float64(6-gear))
		}
		press := 0.0
		if onBrakes || v > strangerAt(limit, here) {
			press = mass * math.Min(10.5, math.Max(0, (v-ahead)/0.12-0.6))
		}
		brake += dt / 0.06 * (press - brake)
		ax := (force - brake - 0.5*1.17*0.34*v*v - 0.016*mass*strangerG) / mass
		slip := 0.011*math.Max(force, 0)/1000*(1+1.1*(1-math.Cos(lean))) - 0.006*math.Max(-force, 0)/1000
		rear := v * (1 + slip) / roll
		front := v / (radiusF - crownF*(1-math.Cos(lean))) * (1 - 0.01*brake/2700)
		rpm := rear * ratio * 30 / math.Pi
		if shift <= 0 && rpm > 13600 && gear < 6 && grip > 0.4 {
			gear, shift = gear+1, 0.055
		}
		if blip -= dt; blip <= 0 && rpm < 8200 && gear > 2 && (onBrakes || grip < 0.1) {
			gear, blip = gear-1, 0.28
		}
		if k%5 == 0 {
			i := int(here) % n
			h, o := heading[i]+math.Remainder(heading[(i+1)%n]-heading[i], 2*math.Pi)*(here-math.Floor(here)), aside(here)
			rows = append(rows, strangerRow{strangerAt(xs, here) - math.Sin(h)*o, strangerAt(ys, here) + math.Cos(h)*o, v, lean, ax, rpm, grip, grip * cap * (1 - cut), cut, brake, front, rear, float64(gear), h, v * kp})
			x.s, x.capped = append(x.s, s), append(x.capped, cap < 0.97)
		}
		next := s + v*dt/(1-kp*aside(here))
		if math.Floor(next/round) > math.Floor(s/round) {
			lap++
			plan(lap)
		}
		s, v, t = next, math.Max(3, v+ax*dt), t+dt
	}

	// What a logger makes of it.
	for i := range xs {
		x.lat, x.lon = append(x.lat, strangerLat+ys[i]/strangerNorth), append(x.lon, strangerLon+xs[i]/strangerEast)
	}
	x.circF, x.delay = 2*math.Pi*radiusF, 0.09+0.08*r.Float64()
	if italian {
		x.delay += 0.09
		x.italian(rows, r, without)
	} else {
		x.english(rows, r, without)
	}
	return x
}

// crossings are the instants at which place s was passed.
func (x *stranger) crossings(s float64) []float64 {
	var out []float64
	for i := 1; i < len(x.s); i++ {
		a, b := (x.s[i-1]-s)/float64(x.length), (x.s[i]-s)/float64(x.length)
		if math.Floor(b) > math.Floor(a) {
			out = append(out, strangerStart+0.01*(float64(i-1)+(math.Floor(b)-a)/(b-a)))
		}
	}
	return out
}
