package paper

import (
	"context"
	"fmt"

	"cornerwright/internal/book"
	"cornerwright/internal/debrief"
	"cornerwright/internal/rehearsal"
)

// Rehearser lays a step of the book on a run.
type Rehearser func(ctx context.Context, step, run int) (*rehearsal.Rehearsal, error)

// OfStep gathers everything that stands on a step's change sheet from the book.
// rehearse may give a rehearsal that was made before and still holds; nil makes
// one anew.
func OfStep(ctx context.Context, b *book.Book, s book.Step, rehearse Rehearser) (*ChangeSheet, error) {
	if rehearse == nil {
		rehearse = b.Rehearse
	}
	k, err := b.Bike(s.Bike)
	if err != nil {
		return nil, err
	}
	from, err := b.Sheet(s.From)
	if err != nil {
		return nil, err
	}
	to, err := b.Sheet(s.To)
	if err != nil {
		return nil, err
	}
	in := Input{Bike: k.Bike, From: from.Sheet, To: to.Sheet, Step: s.Step, Guards: s.Guards, Date: s.Added}
	if s.Remark > 0 {
		m, err := b.Remark(s.Remark)
		if err != nil {
			return nil, err
		}
		in.Remark = m.Words
	}
	if s.Run > 0 {
		r, err := b.Run(fmt.Sprint(s.Run))
		if err != nil {
			return nil, err
		}
		in.Facts = append(in.Facts, Fact{Name: "circuit", Value: r.Circuit}, Fact{Name: "meeting", Value: r.Meeting}, Fact{Name: "from run", Value: fmt.Sprint(r.Number)})
		if in.Rehearsal, err = rehearse(ctx, s.ID, s.Run); err != nil {
			return nil, err
		}
		// A plan that cannot be made is no reason to withhold the sheet.
		if p, err := b.Plan(ctx, book.PlanOf(s.Step, s.Run)); err == nil {
			in.Plan = p
		}
	}
	return NewChangeSheet(in)
}

// OfRun gathers everything that stands on a run's debrief sheet from the book.
func OfRun(ctx context.Context, b *book.Book, r book.Run) (*DebriefSheet, error) {
	res, err := b.Debrief(ctx, r.Number, debrief.Options{Run: r.Number})
	if err != nil {
		return nil, err
	}
	rs, err := b.Remarks(r.Number)
	if err != nil {
		return nil, err
	}
	c, err := b.Circuit(r.Circuit)
	if err != nil {
		return nil, err
	}
	laps, err := b.Laps(ctx, r.Number)
	if err != nil {
		return nil, err
	}
	k, err := b.Bike(r.Bike)
	if err != nil {
		return nil, err
	}
	var said []debrief.Remark
	for _, m := range rs {
		if !m.Struck {
			said = append(said, m.Remark)
		}
	}
	s := NewDebriefSheet(res, said, c, laps, k.Bike.Slots.Trial)
	s.Title = fmt.Sprintf("Debrief · run %d", r.Number)
	s.Date = r.Added
	s.Facts = append(s.Facts, Fact{Name: "circuit", Value: r.Circuit}, Fact{Name: "meeting", Value: r.Meeting}, Fact{Name: "bike", Value: r.Bike}, Fact{Name: "file", Value: r.Name})
	if r.Tyre != "" {
		s.Facts = append(s.Facts, Fact{Name: "tyre", Value: r.Tyre})
	}
	return s, nil
}
