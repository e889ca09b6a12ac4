package book

import (
	"context"
	"fmt"

	"cornerwright/internal/bike"
	"cornerwright/internal/debrief"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// scene gathers what debrief and rehearsal need of a run.
func (b *Book) scene(ctx context.Context, run int) (Run, *ride.Ride, *bike.Bike, setting.Sheet, error) {
	r, err := b.Run(fmt.Sprint(run))
	if err != nil {
		return r, nil, nil, setting.Sheet{}, err
	}
	x, err := b.Ride(ctx, run)
	if err != nil {
		return r, nil, nil, setting.Sheet{}, err
	}
	k, err := b.bikeOf(r)
	if err != nil {
		return r, nil, nil, setting.Sheet{}, err
	}
	var sheet Sheet
	if r.Sheet > 0 {
		sheet, err = b.Sheet(r.Sheet)
	} else {
		sheet, err = b.CurrentSheet(r.Bike)
	}
	return r, x, k, sheet.Sheet, err
}

// Debrief joins the run's remarks, in the order they were entered and without
// those taken back, with its data.
func (b *Book) Debrief(ctx context.Context, run int, o debrief.Options) (*debrief.Result, error) {
	r, x, k, sheet, err := b.scene(ctx, run)
	if err != nil {
		return nil, err
	}
	all, err := b.Remarks(r.Number)
	if err != nil {
		return nil, err
	}
	var said []debrief.Remark
	for _, m := range all {
		if !m.Struck {
			said = append(said, m.Remark)
		}
	}
	o.Run = r.Number
	out := debrief.Debrief(x, k, said, sheet, k.Slots.Trial, o)
	return &out, nil
}

// Rehearse applies a step to the recorded laps of a run (0: the step's own).
func (b *Book) Rehearse(ctx context.Context, step, run int) (*rehearsal.Rehearsal, error) {
	s, err := b.Step(step)
	if err != nil {
		return nil, err
	}
	if run == 0 {
		run = s.Run
	}
	if run == 0 {
		return nil, invalid(say.T("step {step} was not derived from a run", step), say.T("say which run to rehearse it on: --run RUN"))
	}
	return b.RehearseStep(ctx, s.Step, run)
}

// RehearseStep applies a step, recorded or not, to the recorded laps of a run.
func (b *Book) RehearseStep(ctx context.Context, s setting.Step, run int) (*rehearsal.Rehearsal, error) {
	if s.Run == 0 {
		s.Run = run
	}
	k, sheet, err := b.prepare(&s)
	if err != nil {
		return nil, err
	}
	r, err := b.Run(fmt.Sprint(run))
	if err != nil {
		return nil, err
	}
	if r.Bike != k.Name {
		return nil, invalid(say.T("run {run} was ridden on {bike}, the step is for {name}", run, r.Bike, k.Name), say.T("rehearse it on a run of the same bike"))
	}
	x, err := b.Ride(ctx, run)
	if err != nil {
		return nil, err
	}
	out := rehearsal.Rehearse(x, k.Bike, s, sheet)
	return &out, nil
}

// Tyres says what a run tells of the tyres.
func (b *Book) Tyres(ctx context.Context, run int) (bike.Tyres, error) {
	s, err := b.Summary(ctx, run)
	if err != nil {
		return bike.Tyres{}, err
	}
	return s.Tyres, nil
}
