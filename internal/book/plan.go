package book

import (
	"context"
	"fmt"
	"sort"

	"cornerwright/internal/circuit"
	"cornerwright/internal/say"
	"cornerwright/internal/verdict"
)

// PlanRequest asks how many laps show an effect.
type PlanRequest struct {
	Runs     []int // runs whose laps tell the rider's scatter
	Turn     int
	Measure  string
	Effect   float64 // in the measure's unit, > 0
	Minutes  float64
	MaxLaps  int
	Settle   int
	Power    float64
	NilCheck bool
}

// Plan plans the laps and slot order that show an effect of the given size, from
// the rider's own scatter at that turn.
func (b *Book) Plan(ctx context.Context, q PlanRequest) (*verdict.Plan, error) {
	if len(q.Runs) == 0 {
		return nil, invalid(say.T("no run is named to take the rider's scatter from"), say.T("name one: --run last"))
	}
	if !(q.Effect > 0) {
		return nil, invalid(say.T("no size of effect is given"), say.T("say which size must be seen: --effect 0.08s"))
	}
	if q.Measure == "" {
		q.Measure = "segment"
	}
	m, err := measureByName(q.Measure)
	if err != nil {
		return nil, err
	}
	var vs []verdictRun
	var first Run
	for _, n := range q.Runs {
		r, err := b.Run(fmt.Sprint(n))
		if err != nil {
			return nil, err
		}
		if len(vs) > 0 && r.Circuit != first.Circuit {
			return nil, invalid(say.T("runs {number} and {number2} are of different circuits", first.Number, r.Number), say.T("take the scatter from runs of one circuit"))
		}
		if len(vs) == 0 {
			first = r
		}
		v, err := b.verdictRun(ctx, r)
		if err != nil {
			return nil, err
		}
		vs = append(vs, v)
	}
	c, err := b.Circuit(first.Circuit)
	if err != nil {
		return nil, err
	}
	k, err := b.bikeAt(first.Bike, first.BikeFile)
	if err != nil {
		return nil, err
	}
	w := verdict.Wish{Turn: q.Turn, Measure: q.Measure, Unit: m.unit, Effect: q.Effect, Power: q.Power, SlowShare: -1,
		Reference: k.Slots.Reference, Trial: k.Slots.Trial, Minutes: q.Minutes, MaxLaps: q.MaxLaps, Settle: q.Settle, NilCheck: q.NilCheck}
	if q.Turn == 0 {
		if q.Measure != "segment" && q.Measure != "lap" {
			return nil, invalid(say.T("the measure needs a turn"), say.T("name one: --turn N"))
		}
		w.Measure, w.History = "lap", lapMeasure(vs).Laps
	} else {
		if turnOf(c, q.Turn) == nil {
			return nil, invalid(say.T("{name} has no turn {turn}", c.Name, q.Turn), say.T("see them: cornerwright turns last"))
		}
		w.History = passLaps(m, q.Turn, vs)
	}
	var times []float64
	for i := range vs {
		for _, l := range vs[i].laps {
			if l.Kind == circuit.TimedLap {
				times = append(times, l.Time())
			}
		}
	}
	if len(times) > 0 {
		sort.Float64s(times)
		w.LapTime = times[len(times)/2]
	}
	// A plan is simulated and takes a second; the same wish has the same plan.
	key := fmt.Sprintf("%+v", w)
	if p, ok := b.plans.Load(key); ok {
		return p.(*verdict.Plan), nil
	}
	p, err := verdict.MakePlan(w)
	if err == nil {
		b.plans.Store(key, &p)
	}
	if err != nil {
		return nil, &Error{Kind: ErrInvalid, Err: err, Mend: say.T("take a run with more timed laps, or several: --run 1,2")}
	}
	return &p, nil
}
