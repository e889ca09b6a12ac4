package book

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"cornerwright/internal/rehearsal"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

const stepSelect = `SELECT id, bike, from_sheet, to_sheet, slot, setting, cells, reason, remark, finding, run, aim, author, guards, added FROM step`

func (b *Book) scanStep(s scanner) (Step, error) {
	var r Step
	var cells, aim, guards string
	var at int64
	if err := s.Scan(&r.ID, &r.Bike, &r.From, &r.To, &r.Slot, &r.Setting, &cells, &r.Reason, &r.Remark, &r.Finding, &r.Run, &aim, &r.Author, &guards, &at); err != nil {
		return r, err
	}
	r.Added = instant(at)
	var kept []keptGuard
	err := errors.Join(json.Unmarshal([]byte(cells), &r.Cells), json.Unmarshal([]byte(aim), &r.Primary), json.Unmarshal([]byte(guards), &kept))
	r.Guards = nil
	for _, g := range kept {
		r.Guards = append(r.Guards, setting.GuardResult{Guard: g.Guard, Pass: g.Pass, Hard: g.Hard, Reason: say.Text(g.Reason), Mend: say.Text(g.Mend)})
	}
	if err != nil {
		return r, damaged(say.T("step {id} cannot be read", r.ID), err)
	}
	return r, nil
}

// fillStep adds states and overrules.
func (b *Book) fillStep(r *Step) error {
	r.State = Proposed
	err := each(b.r, func(s scanner) error {
		var c StateChange
		var at int64
		if err := s.Scan(&c.From, &c.To, &c.Who, &c.Reason, &c.Run, &at); err != nil {
			return err
		}
		c.At = instant(at)
		r.History = append(r.History, c)
		r.State = c.To
		return nil
	}, `SELECT was, now, who, reason, run, at FROM step_state WHERE step = ? ORDER BY id`, r.ID)
	if err != nil {
		return err
	}
	return each(b.r, func(s scanner) error {
		var o setting.Overrule
		if err := s.Scan(&o.Guard, &o.Who, &o.Reason); err != nil {
			return err
		}
		r.Overrules = append(r.Overrules, o)
		return nil
	}, `SELECT guard, who, reason FROM overrule WHERE step = ? ORDER BY id`, r.ID)
}

// Steps lists all steps of a bike ("" all bikes), oldest first.
func (b *Book) Steps(bikeName string) ([]Step, error) {
	var out []Step
	err := each(b.r, func(s scanner) error {
		r, err := b.scanStep(s)
		out = append(out, r)
		return err
	}, stepSelect+` WHERE ?1 = '' OR bike = ?1 ORDER BY id`, bikeName)
	for i := range out {
		if err == nil {
			err = b.fillStep(&out[i])
		}
	}
	return out, b.ioError(err)
}

// Step returns one step.
func (b *Book) Step(id int) (Step, error) {
	r, err := b.scanStep(b.r.QueryRow(stepSelect+` WHERE id = ?`, id))
	if noRows(err) {
		var n int
		if err := b.r.QueryRow(`SELECT count(*) FROM step`).Scan(&n); err != nil {
			return r, b.ioError(err)
		}
		if n == 0 {
			return r, notFound(say.T("there is no step {id}: the book holds none", id), say.T("propose one: cornerwright step new"))
		}
		return r, notFound(say.T("there is no step {id}", id), say.T("list them: cornerwright step list"))
	}
	if err == nil {
		err = b.fillStep(&r)
	}
	return r, b.ioError(err)
}

// prepare fills in what a step leaves open: sheet and slot, and checks that it
// can be made at all.
func (b *Book) prepare(s *setting.Step) (BikeRecord, setting.Sheet, error) {
	if s.Bike == "" && s.Run > 0 {
		r, err := b.Run(fmt.Sprint(s.Run))
		if err != nil {
			return BikeRecord{}, setting.Sheet{}, err
		}
		s.Bike = r.Bike
	}
	k, err := b.Bike(s.Bike)
	if err != nil {
		return k, setting.Sheet{}, err
	}
	s.Bike = k.Name
	var sheet Sheet
	if s.From == 0 {
		sheet, err = b.CurrentSheet(k.Name)
	} else {
		sheet, err = b.Sheet(s.From)
	}
	if err != nil {
		return k, setting.Sheet{}, err
	}
	if sheet.Bike != k.Name {
		return k, setting.Sheet{}, invalid(say.T("sheet {number} is of {bike}, not of {name}", sheet.Number, sheet.Bike, k.Name), say.T("start from a sheet of the same bike"))
	}
	s.From = sheet.Number
	if s.Slot == "" {
		s.Slot = k.Bike.Slots.Trial
	}
	if k.Bike.Setting(s.Setting) == nil {
		var ids []string
		for _, x := range k.Bike.Settings {
			ids = append(ids, x.ID)
		}
		return k, setting.Sheet{}, notFound(say.T("{name} has no setting {setting}", k.Name, fmt.Sprintf("%q", s.Setting)), say.T("it has: {ids}", strings.Join(ids, ", ")))
	}
	if s.Remark != 0 {
		if _, err := b.Remark(s.Remark); err != nil {
			return k, setting.Sheet{}, err
		}
	}
	if _, err := setting.Apply(sheet.Sheet, *s); err != nil {
		return k, setting.Sheet{}, &Error{Kind: ErrInvalid, Err: err, Mend: say.T("make the step anew from the sheet that is in the bike now")}
	}
	return k, sheet.Sheet, nil
}

// Guards answers every guard for a step that is not recorded yet.
func (b *Book) Guards(ctx context.Context, s setting.Step, o StepOptions) ([]setting.GuardResult, error) {
	k, sheet, err := b.prepare(&s)
	if err != nil {
		return nil, err
	}
	return b.guards(ctx, s, k, sheet, o)
}

func (b *Book) guards(ctx context.Context, s setting.Step, k BikeRecord, sheet setting.Sheet, o StepOptions) ([]setting.GuardResult, error) {
	g := rehearsal.GuardContext{Bike: k.Bike, Sheet: sheet, Step: s, Why: o.Why,
		Now: rehearsal.Conditions{Surface: o.Conditions.Surface, Tyre: o.Conditions.Tyre, Air: o.Conditions.Air}}
	if s.Run > 0 {
		r, err := b.Run(fmt.Sprint(s.Run))
		if err != nil {
			return nil, err
		}
		if r.Bike != k.Name {
			return nil, invalid(say.T("run {number} was ridden on {bike}, the step is for {name}", r.Number, r.Bike, k.Name), say.T("derive the step from a run of the same bike"))
		}
		if g.Ride, err = b.Ride(ctx, s.Run); err != nil {
			return nil, err
		}
		// The sheet of the day's start: that of the meeting's first run on this bike.
		runs, err := b.Runs(RunFilter{Meeting: r.Meeting, Bike: r.Bike})
		if err != nil {
			return nil, err
		}
		if len(runs) > 0 && runs[0].Sheet > 0 {
			first, err := b.Sheet(runs[0].Sheet)
			if err != nil {
				return nil, err
			}
			g.Reference = &first.Sheet
		}
	}
	steps, err := b.Steps(k.Name)
	if err != nil {
		return nil, err
	}
	for _, e := range steps {
		if e.ID != s.ID || s.ID == 0 {
			done := e.State == Kept || e.State == Reverted
			g.Earlier = append(g.Earlier, rehearsal.Earlier{Step: e.Step, Verified: done || b.hasVerdict(e.ID)})
		}
	}
	return rehearsal.Guards(g), nil
}

// hasVerdict tells whether a verdict with an answer stands on a step.
func (b *Book) hasVerdict(step int) bool {
	var n int
	err := b.r.QueryRow(`SELECT count(*) FROM verdict WHERE step = ? AND answer <> 'not-enough-laps'`, step).Scan(&n)
	return err == nil && n > 0
}

// NewStep records a step (proposed) and makes its sheet. s.From 0 takes the
// sheet that is in the bike, s.Slot "" the trial slot. Where a guard stands in
// the way that s.Overrules does not put aside by name, it returns ErrConflict
// and the answers in Step.Guards; nothing is recorded then.
func (b *Book) NewStep(ctx context.Context, s setting.Step, o StepOptions) (Step, error) {
	k, sheet, err := b.prepare(&s)
	if err != nil {
		return Step{}, err
	}
	guards, err := b.guards(ctx, s, k, sheet, o)
	if err != nil {
		return Step{}, err
	}
	out := Step{Step: s, Author: o.Author, Guards: guards}
	if rehearsal.Refused(guards) {
		var open, mends []say.Text
		for _, g := range guards {
			if !g.Pass {
				open = append(open, say.T("{guard}: {why}", g.Guard, g.Reason))
				mends = append(mends, g.Mend)
			}
		}
		return out, conflict(say.T("a guard stands in the way: {open}", say.Join(open, "; ")), say.T("{mends}; or overrule it by name with a reason", say.Join(mends, "; ")))
	}
	if s.Reason == "" {
		return out, invalid(say.T("the step has no reason"), say.T("say why it is made; it is printed on the sheet"))
	}
	// What the rehearsal says now is kept with the step: a later verdict scores it.
	var said []byte
	if s.Run > 0 {
		if x, err := b.RehearseStep(ctx, s, s.Run); err == nil {
			said, _ = json.Marshal(foretold(x))
		} else if ctx.Err() != nil {
			return Step{}, err
		}
	}
	cells, _ := json.Marshal(s.Cells)
	aim, _ := json.Marshal(s.Primary)
	answers, _ := json.Marshal(keptGuards(guards))
	var id int
	err = b.tx(func(t *tx) error {
		next, err := setting.Apply(sheet, s)
		if err != nil {
			return &Error{Kind: ErrInvalid, Err: err}
		}
		next.Parent = sheet.Number
		var newest int
		if err := t.QueryRow(`SELECT coalesce(max(id), 0) FROM step`).Scan(&newest); err != nil {
			return err
		}
		next.Note = s.Reason
		if s.To, err = t.insertSheet(next, newest+1, uid()); err != nil {
			return err
		}
		id, err = t.insert(`INSERT INTO step (id, uid, bike, from_sheet, to_sheet, slot, setting, cells, reason, remark, finding, run, aim, author, guards, added) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)`,
			newest+1, uid(), s.Bike, s.From, s.To, s.Slot, s.Setting, string(cells), s.Reason, s.Remark, s.Finding, s.Run, string(aim), o.Author, string(answers), t.at)
		if err != nil {
			return err
		}
		if said != nil {
			if err := t.exec(`INSERT INTO book (key, value) VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value`, foretoldKey(id), string(said)); err != nil {
				return err
			}
		}
		for _, v := range s.Overrules {
			if _, err := t.insert(`INSERT INTO overrule (uid, step, guard, who, reason, at) VALUES (?,?,?,?,?,?)`, uid(), id, v.Guard, v.Who, v.Reason, t.at); err != nil {
				return err
			}
		}
		return t.event(Event{Kind: "step", Step: id, Run: s.Run, Ref: Proposed, Who: o.Author})
	})
	if err != nil {
		return out, err
	}
	return b.Step(id)
}

// Moves that a step may make from a state.
var moves = map[string][]string{
	Proposed: {Loaded, Reverted},
	Loaded:   {Kept, Reverted, Repeated},
	Repeated: {Loaded, Kept, Reverted},
	Kept:     {Reverted},
	Reverted: {Loaded},
}

// SetStepState moves a step on. from is the state the caller saw ("" whatever
// it is); where it has changed since, the answer is ErrConflict and nothing is
// done. One step at a time is in a bike. run is the run the change rests on,
// 0 for none.
func (b *Book) SetStepState(id int, from, to, who, reason string, run int) (Step, error) {
	s, err := b.Step(id)
	if err != nil {
		return s, err
	}
	if from == "" {
		from = s.State
	}
	err = b.tx(func(t *tx) error {
		state := Proposed
		if err := t.QueryRow(`SELECT now FROM step_state WHERE step = ? ORDER BY id DESC LIMIT 1`, id).Scan(&state); err != nil && !noRows(err) {
			return err
		}
		if state != from {
			return conflict(say.T("step {id} is {state} by now, not {from}", id, state, from), say.T("look at it again before changing it"))
		}
		ok := false
		for _, m := range moves[state] {
			ok = ok || m == to
		}
		if !ok {
			if state == to {
				return conflict(say.T("step {id} is {state} already", id, state), say.T("from there it can become: {moves}", strings.Join(moves[state], ", ")))
			}
			return conflict(say.T("step {id} is {state} and cannot become {to}", id, state, to), say.T("from there it can become: {moves}", strings.Join(moves[state], ", ")))
		}
		if to == Loaded {
			var other int
			err := t.QueryRow(`SELECT s.id FROM step s WHERE s.bike = ? AND s.id <> ? AND
				(SELECT now FROM step_state WHERE step = s.id ORDER BY id DESC LIMIT 1) IN ('loaded', 'repeated') LIMIT 1`, s.Bike, id).Scan(&other)
			if err == nil {
				return conflict(say.T("step {other} is in the bike already: two trials at once cannot be told apart", other), say.T("keep or revert step {other} first", other))
			}
			if !noRows(err) {
				return err
			}
		}
		if to == Kept {
			if err := t.promote(s); err != nil {
				return err
			}
		}
		if _, err := t.insert(`INSERT INTO step_state (uid, step, was, now, who, reason, run, at) VALUES (?,?,?,?,?,?,?,?)`, uid(), id, state, to, who, reason, run, t.at); err != nil {
			return err
		}
		return t.event(Event{Kind: "step", Step: id, Run: run, Ref: to, Who: who})
	})
	if err != nil {
		return s, err
	}
	return b.Step(id)
}

// promote makes the sheet on which what was on trial is the reference: the
// step's setting of the reference slot takes the values of its own slot.
func (t *tx) promote(s Step) error {
	k, err := t.b.Bike(s.Bike)
	if err != nil {
		return err
	}
	to, err := scanSheet(t.QueryRow(sheetSelect+` WHERE number = ?`, s.To))
	if err != nil {
		return err
	}
	next := setting.NewSheet(to.Bike, to.Slots)
	next.Parent = s.To
	next.Note = fmt.Sprintf("step %d kept: %s of slot %s is the reference now", s.ID, s.Setting, s.Slot)
	if next.Slots[k.Bike.Slots.Reference] == nil {
		return conflict(say.T("sheet {to} has no reference slot {reference}", s.To, k.Bike.Slots.Reference), say.T("add the bike file again"))
	}
	next.Slots[k.Bike.Slots.Reference][s.Setting] = to.Values(s.Slot, s.Setting)
	_, err = t.insertSheet(next, s.ID, uid())
	return err
}

// Overrule puts a guard of a recorded step aside by name; it stays in the book
// and on the paper.
func (b *Book) Overrule(id int, o setting.Overrule) (Step, error) {
	s, err := b.Step(id)
	if err != nil {
		return s, err
	}
	if strings.TrimSpace(o.Who) == "" || strings.TrimSpace(o.Reason) == "" {
		return s, invalid(say.T("a guard is overruled only by name and with a reason"), say.T("give both"))
	}
	known := false
	for _, g := range s.Guards {
		if g.Guard == o.Guard {
			known = true
			if g.Hard {
				return s, conflict(say.T("the guard {guard} cannot be overruled", g.Guard), g.Mend)
			}
		}
	}
	if !known {
		return s, invalid(say.T("there is no guard {guard}", fmt.Sprintf("%q", o.Guard)), say.T("see them: cornerwright step show {id}", fmt.Sprint(id)))
	}
	if err := b.tx(func(t *tx) error {
		if _, err := t.insert(`INSERT INTO overrule (uid, step, guard, who, reason, at) VALUES (?,?,?,?,?,?)`, uid(), id, o.Guard, o.Who, o.Reason, t.at); err != nil {
			return err
		}
		return t.event(Event{Kind: "step", Step: id, Ref: "overruled " + o.Guard, Who: o.Who})
	}); err != nil {
		return s, err
	}
	return b.Step(id)
}

// keptGuard is a guard's answer as it is stored: its texts with their values, so
// that a page says them in its language.
type keptGuard struct {
	Guard        string
	Pass, Hard   bool
	Reason, Mend string
}

func keptGuards(list []setting.GuardResult) []keptGuard {
	out := []keptGuard{}
	for _, g := range list {
		out = append(out, keptGuard{g.Guard, g.Pass, g.Hard, string(g.Reason), string(g.Mend)})
	}
	return out
}
