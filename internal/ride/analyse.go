package ride

import (
	"fmt"
	"math"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/signal"
)

// Analyse computes everything known about one run: position and laps (package
// circuit), lean, tyres, slip, gear and force (package bike), and from them the
// episodes and the per-pass table. known is the circuit if it is known, nil to
// learn it. What the channels cannot give is named in Ride.Cannot with its
// reason; no number is invented for it. An error is returned only where there
// is no position at all.
func Analyse(rec *recording.Recording, b *bike.Bike, known *circuit.Circuit, opt Options) (*Ride, error) {
	if b != nil && opt.Circuit.AntennaHeight == 0 {
		opt.Circuit.AntennaHeight = b.Antenna
	}
	loc, err := circuit.Locate(rec, known, opt.Circuit)
	if err != nil {
		return nil, err
	}
	return Continue(rec, b, loc, opt)
}

// Continue is Analyse for a run that has been located already.
func Continue(rec *recording.Recording, b *bike.Bike, loc *circuit.Located, opt Options) (*Ride, error) {
	if b == nil {
		b = &bike.Bike{}
	}
	r := &Ride{Circuit: loc.Circuit, Position: loc.Position, Matrix: loc.Matrix, Laps: loc.Laps, Problems: loc.Problems}
	w := &work{rec: rec, b: b, opt: opt, loc: loc, pos: loc.Position, r: r}
	w.n = len(loc.Position.Time)
	if w.n < 50 {
		return nil, fmt.Errorf("ride: the recording holds %d samples: too few to analyse", w.n)
	}
	w.mem.n = w.n
	w.t0 = loc.Position.Time[0]
	w.dt = (loc.Position.Time[w.n-1] - w.t0) / float64(w.n-1)
	w.rate = 1 / w.dt
	w.load()
	w.weather()
	w.numberLaps()
	w.masks()
	w.lean()
	w.tyres()
	w.gear()
	w.settleRear()
	w.slip()
	w.force()
	// Two rows of stages side by side; nothing of one rests on the other.
	shaken := w.beside(func(v *work) {
		v.findRearLift()
		v.findHop()
		v.findShakes()
	})
	if r.Circuit != nil {
		r.Passes = w.cutPasses()
	}
	slow := w.beside(func(v *work) {
		v.engineBrake()
		v.suspension()
	})
	w.findBlips()
	w.findUpshifts()
	w.findLimiter()
	w.findWheelies()
	w.findLocks()
	w.hop = shaken().hop
	w.findSpins()
	w.findCuts()
	w.findHesitation()
	w.findPitSpeed()
	w.place()
	w.cost()
	found := slow().r
	r.Engine, r.Travel = found.Engine, found.Travel
	w.pulls()
	w.watch()
	w.fillPasses()
	r.speed = w.speed
	if w.front == nil {
		r.Signals.Airborne = nil
	}
	return r, nil
}

func (w *work) numberLaps() {
	w.lap = make([]int32, w.n)
	for _, l := range w.r.Laps {
		for i := w.index(l.Start); i <= w.index(l.End); i++ {
			w.lap[i] = int32(l.Number)
		}
	}
}

// lean finds the lean signal.
func (w *work) lean() {
	in := bike.LeanInput{DT: w.dt, Speed: w.pos.Speed, Kappa: w.pos.Kappa, PathLost: w.pos.Lost,
		Channel: w.channel(recording.Lean), ChannelBad: w.bad(recording.Lean), RollRate: w.rollRate,
		YawRate: w.yawRate, PitchRate: w.pitchRate, Scratch: &w.sc}
	for k := range in.Spare {
		in.Spare[k] = w.mem.take()
		defer w.mem.back(in.Spare[k])
	}
	if c := w.rec.Channel(recording.Lean); c != nil && c.Rate() > 0 {
		in.ChannelStep = 1 / c.Rate()
	}
	s := &w.r.Signals
	s.Lean, s.LeanSE, w.r.Lean = bike.EstimateLean(in, w.b)
	if in.Channel == nil {
		why := say.T("no lean channel is logged")
		w.cannot(say.T("lean channel"), why, say.T("log lean, or live with {source} (standard error {se} deg)", w.r.Lean.Source, fmt.Sprintf("%.1f", w.r.Lean.SE*180/math.Pi)))
	}
	w.roll = make([]float64, w.n)
	w.slope(w.roll, s.Lean, 4)
}

// force is the force between rear tyre and road, brakes included.
func (w *work) force() {
	if w.b.Mass.Total == 0 || w.b.Air.DragArea == 0 {
		w.cannot(say.T("force and torque"), say.T("mass or drag area is not in the bike file"), say.T("give mass.total_kg and air.drag_area_m2"))
		return
	}
	f := make([]float64, w.n)
	signal.Pieces(w.n, func(from, to int) {
		for i := from; i < to; i++ {
			lat := w.speed[i] * w.speed[i] * w.pos.Kappa[i]
			f[i] = w.b.RearForce(w.accel[i], w.speed[i], 0) + bike.SideDrag*w.b.Mass.Total*math.Abs(lat)
		}
	})
	w.r.Signals.Force = f
}

// cutPasses cuts the phases of every lap through every turn.
func (w *work) cutPasses() []Pass {
	s := &w.r.Signals
	sig := circuit.Signals{Lean: s.Lean, Grip: s.Grip, Brake: s.FrontBrake, Accel: s.Accel}
	cut := circuit.Passes(w.r.Circuit, w.pos, w.r.Laps, sig)
	out := make([]Pass, len(cut))
	for i := range cut {
		out[i].Pass = cut[i]
	}
	return out
}
