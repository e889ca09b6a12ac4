package circuit

import (
	"math"
	"sync"
)

// tuned are the spreads that a recording itself tells: how far the slow GPS error
// goes, how far the rider strays, how the odometer walks off, how soon the rider's
// offset is forgotten.
var tuned = [...]func(q *noise) *float64{
	func(q *noise) *float64 { return &q.slow },
	func(q *noise) *float64 { return &q.offset },
	func(q *noise) *float64 { return &q.walk },
	func(q *noise) *float64 { return &q.forget },
}

const (
	tuneEvery  = 3.0 // s between the instants looked at: about as long as a rider's offset remembers
	tuneWindow = 1.0 // s of fixes taken together at each
	tuneStep   = 0.4 // of the logarithm of a spread
	// usually is by how much, as a logarithm, receivers and riders differ from the
	// usual ones: a short recording alone does not tell how far a slow error goes.
	usually   = 0.5
	tuneAside = 4.0 // m
	// rad: over a longer bend the way depends on offsets between the instants.
	tuneBend = 0.15
	tuneRows = 60 // fewer instants tell nothing
)

// tune moves the spreads of the model to where they make the recording likeliest:
// one after the other along a parabola through three values of the likelihood.
// It looks at instants some seconds apart and leaves headings out, since a rider's
// path is smoother from fix to fix than the model's: what counts is how far he is
// from the line in the long run.
func (j *joint) tune() {
	if j.fixed {
		return
	}
	rows := j.thinned()
	if len(rows) < tuneRows {
		return
	}
	q, usual := j.q, defaultNoise()
	misfit := func(sm *smoother, q noise) float64 {
		if !sm.reduce(rows, q) {
			return math.NaN()
		}
		return sm.misfit + sq(math.Log(q.slow/usual.slow)/usually) + sq(math.Log(q.offset/usual.offset)/usually) + sq(math.Log(q.forget/usual.forget)/usually)
	}
	here := misfit(&j.coarse, q)
	for pass := range 2 {
		for k, at := range tuned {
			h := tuneStep
			if k == 3 && pass == 0 {
				continue // the dearest to tell: after the others stand about right
			}
			if k == 2 {
				if j.trust.along > 0 {
					continue // known from both speeds
				}
				h *= 2 // a density, not a spread
			}
			up, down := q, q
			*at(&up) *= math.Exp(h)
			*at(&down) *= math.Exp(-h)
			var a, b float64
			var other sync.WaitGroup
			other.Go(func() { a = misfit(&j.beside, down) })
			b = misfit(&j.coarse, up)
			other.Wait()
			slope, curve := (b-a)/(2*h), (a-2*here+b)/(h*h)
			x := h
			switch {
			case math.IsNaN(slope + curve):
				continue
			case curve > 1e-9:
				x = math.Max(-2*h, math.Min(2*h, -slope/curve))
			case a < b:
				x = -h
			}
			next := q
			*at(&next) *= math.Exp(x)
			if m := misfit(&j.coarse, next); m < here {
				q, here = next, m
			}
		}
	}
	q.slow = math.Max(0.05, math.Min(5, q.slow))
	q.offset = math.Max(leastWander, math.Min(1.5, q.offset))
	q.walk = math.Max(1e-4, math.Min(4, q.walk))
	q.forget = math.Max(1, math.Min(12, q.forget))
	j.q = q
}

// thinned are rows some seconds apart, each the mean of the fixes about it with the
// weight of all, and without headings.
func (j *joint) thinned() []row {
	stride := max(1, int(math.Round(tuneEvery*j.f.rate)))
	half := max(0, int(0.5*tuneWindow*j.f.rate))
	out := make([]row, 0, len(j.rows)/stride+1)
	last := -1
	for mid := half; mid < len(j.rows); mid += stride {
		r := j.rows[mid]
		var w, x, y float64
		for k := mid - half; k <= min(mid+half, len(j.rows)-1); k++ {
			if p := &j.rows[k]; math.Abs(j.f.t[k]-j.f.t[mid]) < tuneWindow {
				w, x, y = w+p.w, x+p.w*p.rx, y+p.w*p.ry
			}
		}
		r.w = w
		if math.Abs(j.aside[mid]) > tuneAside {
			r.w = 0 // pit lane, run-off: not how a rider strays
		} else if w > 0 {
			r.rx, r.ry = x/w, y/w
		}
		r.cw = 0
		if last >= 0 {
			noise := 0.0
			r.dt, r.do, r.dnom, r.more, r.gd, r.gw, r.lift, r.bad, r.jump, r.blind = 0, 0, 0, 0, 0, 0, 0, false, false, 0
			bow, whole := 0.0, true
			for k := last + 1; k <= mid; k++ {
				p := &j.rows[k]
				r.dt, r.do, r.dnom, r.more, r.gd = r.dt+p.dt, r.do+p.do, r.dnom+p.dnom, r.more+p.more, r.gd+p.gd
				r.bad, r.jump, r.blind = r.bad || p.bad, r.jump || p.jump, math.Max(r.blind, p.blind)
				bow += p.do * p.bow
				r.lift += p.lift
				if p.gw > 0 {
					noise += 1 / p.gw
				} else {
					whole = false
				}
			}
			if r.do > 0.1 {
				r.bow = bow / r.do
			}
			switch {
			case math.Abs(bow) > tuneBend:
				r.blind, r.gd = math.Max(r.blind, 1), 0
			case whole:
				r.gw = 1 / noise
			default:
				r.gd = 0
			}
		}
		out = append(out, r)
		last = mid
	}
	return out
}
