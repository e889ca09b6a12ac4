package demo

import "math"

// front turns the front wheel: rolling, slipping under brakes, free in the air.
func (w *world) front(st *state, ff, fcap, rf, lean float64) {
	if st.nose > 0.002 {
		// In the air the disc and bearings slow it.
		st.wf = math.Max(0, st.wf-2.1/rf*dt)
		st.frontSlip = st.wf*rf/math.Max(st.v, 1) - 1
		return
	}
	want := 0.0
	if ff > 0 && fcap > 0 {
		want = -0.75 * peakSlip(lean) * slipShare(ff/fcap)
	}
	if st.lockT >= 0 {
		want = -0.30
	}
	// A rolling tyre follows over its relaxation length, about 0.12 m; a locked
	// wheel comes and goes with its inertia.
	tau := math.Max(dt, 0.12/math.Max(st.v, 6))
	if st.lockT >= 0 {
		tau = 0.06
	}
	goal := st.v * (1 + want) / rf
	st.wf += (goal - st.wf) * dt / tau
	st.frontSlip = st.wf*rf/math.Max(st.v, 1) - 1
}

// pitch lifts and lowers the wheels about the other axle.
func (w *world) pitch(st *state, tp *turnPlan, force, ff float64) {
	b := w.b
	j := b.CentreHeight*b.CentreHeight + b.CentreToRear*b.CentreToRear + 0.28
	up := (force/b.Mass*b.CentreHeight - (gravity-tp.noseNow(st))*b.CentreToRear) / j
	if up > 0 || st.nose > 0 {
		st.noseRate += (up - 0.8*st.noseRate) * dt
		st.nose += st.noseRate * dt
		if st.nose <= 0 {
			st.nose, st.noseRate = 0, 0
		}
	}
	dec := (ff/b.Mass*b.CentreHeight - gravity*(b.Wheelbase-b.CentreToRear)) / j
	if dec > 0 || st.tailUp > 0 {
		st.tailRate += dec * dt
		st.tailUp += st.tailRate * dt
		if st.tailUp <= 0 {
			st.tailUp, st.tailRate = 0, 0
		}
	}
}

// noseNow is by how much the front is lighter on the drive, m/s2.
func (tp *turnPlan) noseNow(st *state) float64 {
	if tp.nose == 0 || st.braking || math.Abs(st.lean) > 0.45 || st.since > 2.4 {
		return 0
	}
	return tp.nose
}

// suspension follows the loads.
func (w *world) suspension(st *state) {
	b := w.b
	want := math.Max(0, math.Min(0.125, (st.nf/math.Cos(0.42)-450)/b.ForkRate/2+0.012))
	if st.nose > 0.003 {
		want = 0.001
	}
	const om, z = 24.0, 0.65
	st.forkV += (om*om*(want-st.fork) - 2*z*om*st.forkV) * dt
	st.fork += st.forkV * dt
	want = math.Max(0.001, math.Min(0.065, (st.nr*1.9-900)/b.ShockRate+0.004))
	if st.tailUp > 0.002 {
		want = 0.001
	}
	st.shockV += (om*om*(want-st.shock) - 2*z*om*st.shockV) * dt
	st.shock += st.shockV * dt
}
