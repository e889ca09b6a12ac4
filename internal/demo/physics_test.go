package demo

import (
	"math"
	"testing"
)

// Fresnel integrals C and S (Abramowitz and Stegun, table 7.7; digits from
// memory): a clothoid whose heading is pi s^2 / 2, drawn a hundred times larger.
func TestClothoidFollowsFresnel(t *testing.T) {
	for _, q := range [][3]float64{
		{0.1, 0.099997532627, 0.000523589548}, {0.5, 0.492344225871, 0.064732432860},
		{1, 0.779893400377, 0.438259147390}, {1.5, 0.445261176040, 0.697504960082},
		{2, 0.488253406075, 0.343415678364}, {3, 0.605720789298, 0.496312998967},
	} {
		x, y, _ := along(0, math.Pi/1e4, 100*q[0])
		if math.Abs(x/100-q[1]) > 1e-9 || math.Abs(-y/100-q[2]) > 1e-9 {
			t.Errorf("at %g: C %.12f want %.12f, S %.12f want %.12f", q[0], x/100, q[1], -y/100, q[2])
		}
	}
}

// Steady turns, tan(lean) = v^2 / (g R) with g 9.80665, no tyre width.
func TestSteadyTurn(t *testing.T) {
	for _, q := range [][3]float64{{10, 10, 45.559296}, {100 / 3.6, 100, 38.196308}, {160 / 3.6, 180, 48.215039}, {200 / 3.6, 300, 46.372392}} {
		if got := leanOf(q[0]*q[0]/q[1], 0.66, 0) * radDeg; math.Abs(got-q[2]) > 1e-6 {
			t.Errorf("%.1f m/s, %.0f m: %.6f deg, want %.6f", q[0], q[1], got, q[2])
		}
	}
}

// Rolling radius of a torus: 0.2999 m upright, crown 0.060 m.
func TestRollingRadius(t *testing.T) {
	y := Tyre{Radius: 0.2999, Crown: 0.060}
	for lean, want := range map[float64]float64{20: 0.296282, 40: 0.285863, 50: 0.278467, 60: 0.269900} {
		if got := y.Rolling(lean / radDeg); math.Abs(got-want) > 1e-6 {
			t.Errorf("%g deg: %.6f m, want %.6f", lean, got, want)
		}
	}
}

func TestSlipIsWhatTheWheelDoes(t *testing.T) {
	r := Ride(DefaultOptions(1, 3))
	tr := &r.Truth
	for i := range tr.Time {
		if tr.Speed[i] < 8 {
			continue
		}
		want := tr.RearOmega[i]*r.Bike.Rear.Rolling(tr.Lean[i])/tr.Speed[i] - 1
		// The state is a step old in speed and lean.
		if math.Abs(want-tr.RearSlip[i]) > 0.006 {
			t.Fatalf("at %.2f s: slip %.4f, wheel says %.4f", tr.Time[i], tr.RearSlip[i], want)
		}
	}
}

// The way along X and Y is the way that speed integrates to, lap by lap.
func TestSpeedIntegratesToThePath(t *testing.T) {
	for ci := range Circuits() {
		o := DefaultOptions(ci, 11)
		o.Laps = 2
		tr := Ride(o).Truth
		for _, l := range tr.Laps {
			if l.Kind != TimedLap {
				continue
			}
			way, path := 0.0, 0.0
			for i := tr.index(l.Start); i < tr.index(l.End); i++ {
				way += (tr.Speed[i] + tr.Speed[i+1]) / 2 * (tr.Time[i+1] - tr.Time[i])
				path += math.Hypot(tr.X[i+1]-tr.X[i], tr.Y[i+1]-tr.Y[i])
			}
			if math.Abs(way/path-1) > 4e-4 || math.Abs(way/tr.Length-1) > 0.01 {
				t.Errorf("circuit %d lap %d: speed gives %.2f m, the path %.2f m, the line %.2f m", ci, l.Number, way, path, tr.Length)
			}
		}
	}
}

// What the rear tyre does, less drag and rolling, is the gain of kinetic energy.
func TestEnergyBalance(t *testing.T) {
	r := Ride(DefaultOptions(2, 4))
	tr, b := &r.Truth, &r.Bike
	checked := 0
	for _, run := range tr.runsOf(0, 2, func(i int) bool {
		return tr.Grip[i] > 0.97 && tr.Gear[i] >= 3 && tr.FrontBrake[i] == 0 && !tr.Airborne[i] && math.Abs(tr.Lean[i]) < 0.2
	}) {
		work, loss := 0.0, 0.0
		for i := run[0]; i < run[1]; i++ {
			ds := tr.Speed[i] * rowTime
			work += tr.DriveForce[i] * ds
			loss += (0.5*airDensity*b.DragArea*sq(tr.Speed[i]) + b.Rolling*b.Mass*gravity + 0.028*b.Mass*math.Abs(sq(tr.Speed[i])*tr.Curvature[i])) * ds
		}
		m := b.Mass + b.FrontI/sq(b.Front.Radius)
		gain := 0.5 * m * (sq(tr.Speed[run[1]]) - sq(tr.Speed[run[0]]))
		if math.Abs(work-loss-gain) > 0.01*work {
			t.Errorf("at %.1f s: work %.0f J, losses %.0f J, gain %.0f J", tr.Time[run[0]], work, loss, gain)
		}
		checked++
	}
	if checked < 8 {
		t.Errorf("only %d stretches at full throttle", checked)
	}
}

// The loads on both wheels are the weight, and the engine's torque reaches the
// wheel through ratio and efficiency while the clutch is home.
func TestLoadsAndTorque(t *testing.T) {
	r := Ride(DefaultOptions(0, 6))
	tr, b := &r.Truth, &r.Bike
	n := 0
	for i := range tr.Time {
		if tr.Speed[i] < 10 {
			continue
		}
		if w := tr.FrontLoad[i] + tr.RearLoad[i]; tr.FrontLoad[i] > 0 && tr.RearLoad[i] > 0 && math.Abs(w-b.Mass*gravity) > 1 {
			t.Fatalf("loads %.1f N", w)
		}
		if tr.Grip[i] > 0.5 && tr.Gear[i] > 1 && i%50 == 0 {
			ratio := b.ratio(tr.Gear[i])
			if k := tr.WheelTorque[i] / (tr.CrankTorque[i] * ratio * b.Efficiency); math.Abs(k-1) < 1e-6 {
				n++
			}
		}
	}
	if n < 200 {
		t.Errorf("torque reaches the wheel whole in %d samples only", n)
	}
}

func sq(x float64) float64 { return x * x }
