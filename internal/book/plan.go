package book

import (
	"context"
	"fmt"
	"sort"
	"sync"

	"cornerwright/internal/circuit"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
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
	w, err := b.wish(ctx, q)
	if err != nil {
		return nil, err
	}
	p := b.planned(w)
	if p.err != nil {
		return nil, &Error{Kind: ErrInvalid, Err: p.err, Mend: say.T("take a run with more timed laps, or several: --run 1,2")}
	}
	return &p.plan, nil
}

// PlanAhead begins a plan that is likely to be asked for soon and does not wait for
// it. Of several that are begun so at once only the first goes on.
func (b *Book) PlanAhead(ctx context.Context, q PlanRequest) error {
	w, err := b.wish(ctx, q)
	if err == nil && b.ahead.CompareAndSwap(false, true) {
		go func() {
			defer b.ahead.Store(false)
			b.planned(w)
		}()
	}
	return err
}

// usualEffect is the effect (in the measure's unit, seconds for a segment) that is
// planned for where a step does not say what matters.
const usualEffect = 0.08

// PlanOf is the plan that a step asks for: from the scatter of the run that it was
// derived from, for the effect that matters.
func PlanOf(s setting.Step, run int) PlanRequest {
	q := PlanRequest{Runs: []int{run}, Turn: s.Primary.Turn, Measure: s.Primary.Measure, Effect: s.Primary.Matters}
	if q.Effect <= 0 {
		q.Effect = usualEffect
	}
	return q
}

// planned is the plan of a wish. It is simulated and takes a second: the same wish
// has the same plan, and who asks while it is made waits for it.
func (b *Book) planned(w verdict.Wish) *plannedOnce {
	x, _ := b.plans.LoadOrStore(fmt.Sprintf("%+v", w), &plannedOnce{})
	p := x.(*plannedOnce)
	p.once.Do(func() { p.plan, p.err = verdict.MakePlan(w) })
	return p
}

type plannedOnce struct {
	once sync.Once
	plan verdict.Plan
	err  error
}

// wish is what a request asks of the method, with the rider's own laps.
func (b *Book) wish(ctx context.Context, q PlanRequest) (w verdict.Wish, err error) {
	if len(q.Runs) == 0 {
		return w, invalid(say.T("no run is named to take the rider's scatter from"), say.T("name one: --run last"))
	}
	if !(q.Effect > 0) {
		return w, invalid(say.T("no size of effect is given"), say.T("say which size must be seen: --effect 0.08s"))
	}
	if q.Measure == "" {
		q.Measure = "segment"
	}
	m, err := measureByName(q.Measure)
	if err != nil {
		return w, err
	}
	var vs []verdictRun
	var first Run
	for _, n := range q.Runs {
		r, err := b.Run(fmt.Sprint(n))
		if err != nil {
			return w, err
		}
		if len(vs) > 0 && r.Circuit != first.Circuit {
			return w, invalid(say.T("runs {number} and {number2} are of different circuits", first.Number, r.Number), say.T("take the scatter from runs of one circuit"))
		}
		if len(vs) == 0 {
			first = r
		}
		v, err := b.verdictRun(ctx, r)
		if err != nil {
			return w, err
		}
		vs = append(vs, v)
	}
	c, err := b.Circuit(first.Circuit)
	if err != nil {
		return w, err
	}
	k, err := b.bikeAt(first.Bike, first.BikeFile)
	if err != nil {
		return w, err
	}
	w = verdict.Wish{Turn: q.Turn, Measure: q.Measure, Unit: m.unit, Effect: q.Effect, Power: q.Power, SlowShare: -1,
		Reference: k.Slots.Reference, Trial: k.Slots.Trial, Minutes: q.Minutes, MaxLaps: q.MaxLaps, Settle: q.Settle, NilCheck: q.NilCheck}
	if q.Turn == 0 {
		if q.Measure != "segment" && q.Measure != "lap" {
			return w, invalid(say.T("the measure needs a turn"), say.T("name one: --turn N"))
		}
		w.Measure, w.History = "lap", lapMeasure(vs).Laps
	} else {
		if turnOf(c, q.Turn) == nil {
			return w, invalid(say.T("{name} has no turn {turn}", c.Name, q.Turn), say.T("see them: cornerwright turns last"))
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
	return w, nil
}
