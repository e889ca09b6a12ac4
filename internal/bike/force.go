package bike

import "math"

// Usual values where the bike file is silent (from memory, for a thousand-class
// machine; each use of one is told).
const (
	defaultEngineInertia = 0.030 // kg m2 at the crank
	defaultFrontInertia  = 0.45  // kg m2
	defaultRearInertia   = 0.65  // kg m2
	defaultDensity       = 1.20  // kg/m3
	driveEfficiency      = 0.93  // crank to wheel: gears and chain, 0.92 to 0.94
)

// Density is the air density to use, kg/m3: that of the file, else a usual one.
func (b *Bike) Density() float64 {
	if b.Air.Density > 0 {
		return b.Air.Density
	}
	return defaultDensity
}

// RearRadius and FrontRadius are upright radii in m from the file, a usual
// value if it is silent.
func (b *Bike) RearRadius() float64 { return radiusOr(b.Rear, 0.320) }

// FrontRadius: see RearRadius.
func (b *Bike) FrontRadius() float64 { return radiusOr(b.Front, 0.300) }

func radiusOr(t Tyre, usual float64) float64 {
	if t.Circumference > 0 {
		return t.Circumference / (2 * math.Pi)
	}
	return usual
}

// RotatingMass is the mass in kg that wheels (and the engine, in gear > 0) add
// to the bike's inertia: I/r^2 of both wheels and Ie (ratio/r)^2.
func (b *Bike) RotatingMass(gear int) float64 {
	fi, ri, ei := b.Front.Inertia, b.Rear.Inertia, b.Drive.EngineInertia
	if fi == 0 {
		fi = defaultFrontInertia
	}
	if ri == 0 {
		ri = defaultRearInertia
	}
	if ei == 0 {
		ei = defaultEngineInertia
	}
	f, r := b.FrontRadius(), b.RearRadius()
	m := fi/(f*f) + ri/(r*r)
	if it := b.Drive.Total(gear); it > 0 {
		m += ei * it * it / (r * r)
	}
	return m
}

// Drag is aerodynamic drag in N at v m/s.
func (b *Bike) Drag(v float64) float64 { return 0.5 * b.Density() * b.Air.DragArea * v * v }

// RearForce is the force in N between rear tyre and road (drive positive) that
// acceleration a (m/s2) at speed v (m/s) on grade (rise over run) asks for,
// brakes apart: (m + If/rf^2) a + drag + rolling + m g grade. It is the tyre's
// force: the rear wheel's and the engine's inertia lie behind it.
func (b *Bike) RearForce(a, v, grade float64) float64 {
	fi := b.Front.Inertia
	if fi == 0 {
		fi = defaultFrontInertia
	}
	r := b.FrontRadius()
	m := b.Mass.Total
	return (m+fi/(r*r))*a + b.Drag(v) + m*Gravity*(b.Air.RollingCoefficient+grade)
}

// CrankTorque is the engine's own torque in N.m at the crank from the force at
// the rear contact (N), the rear wheel's angular acceleration (rad/s2), rolling
// radius (m) and gear: what accelerates wheel and engine is added, then gear
// and chain losses (7 %).
func (b *Bike) CrankTorque(force, wheelAccel, radius float64, gear int) float64 {
	it := b.Drive.Total(gear)
	if it == 0 {
		return math.NaN()
	}
	ri, ei := b.Rear.Inertia, b.Drive.EngineInertia
	if ri == 0 {
		ri = defaultRearInertia
	}
	if ei == 0 {
		ei = defaultEngineInertia
	}
	wheel := force*radius + ri*wheelAccel
	if wheel > 0 {
		wheel /= driveEfficiency
	} else {
		wheel *= driveEfficiency
	}
	return wheel/it + ei*it*wheelAccel
}

// Loads gives front and rear wheel load in N at acceleration a (m/s2) on the
// flat, without aerodynamic lift: m g b/p -+ m a h/p, held at nil where a wheel
// has left the ground. ok is false if the file does not give wheelbase and
// centre of mass; usual values are taken then.
func (b *Bike) Loads(a float64) (front, rear float64, ok bool) {
	m := b.Mass
	ok = m.Wheelbase > 0 && m.CentreHeight > 0 && m.CentreToRear > 0
	p, h, c := m.Wheelbase, m.CentreHeight, m.CentreToRear
	if p == 0 {
		p = 1.42
	}
	if h == 0 {
		h = 0.62
	}
	if c == 0 {
		c = p / 2
	}
	w := m.Total * Gravity
	front = w*c/p - m.Total*a*h/p
	front = math.Max(0, math.Min(w, front))
	return front, w - front, ok
}

// WheelieLimit is the acceleration (m/s2, flat, upright) at which the front
// wheel leaves the ground, g b/h; LiftLimit the deceleration at which the rear
// does, g (p-b)/h. NaN if the file does not give the centre of mass.
func (b *Bike) WheelieLimit() float64 {
	if b.Mass.CentreHeight == 0 || b.Mass.CentreToRear == 0 {
		return math.NaN()
	}
	return Gravity * b.Mass.CentreToRear / b.Mass.CentreHeight
}

// LiftLimit: see WheelieLimit.
func (b *Bike) LiftLimit() float64 {
	if b.Mass.CentreHeight == 0 || b.Mass.CentreToRear == 0 || b.Mass.Wheelbase == 0 {
		return math.NaN()
	}
	return Gravity * (b.Mass.Wheelbase - b.Mass.CentreToRear) / b.Mass.CentreHeight
}

// RoadSpeed is ground speed in m/s at engine speed omega (rad/s) in a gear on
// rolling radius r (m) without slip; EngineSpeed its inverse.
func (d Drive) RoadSpeed(omega float64, gear int, r float64) float64 {
	it := d.Total(gear)
	if it == 0 {
		return math.NaN()
	}
	return omega / it * r
}

// EngineSpeed: see RoadSpeed.
func (d Drive) EngineSpeed(v float64, gear int, r float64) float64 {
	return v / r * d.Total(gear)
}

// ToothWorth is the relative change of wheel torque at a given engine speed
// that a change of sprocket teeth brings: +0.0244 for one rear tooth on 41.
func (d Drive) ToothWorth(front, rear int) float64 {
	if d.FrontSprocket+front <= 0 || d.RearSprocket == 0 {
		return math.NaN()
	}
	return float64(d.RearSprocket+rear)/float64(d.RearSprocket)*float64(d.FrontSprocket)/float64(d.FrontSprocket+front) - 1
}
