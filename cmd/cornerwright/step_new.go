package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"strconv"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/debrief"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// many gathers a flag that may be given several times.
type many []string

func (m *many) String() string { return strings.Join(*m, "; ") }

func (m *many) Set(s string) error { *m = append(*m, s); return nil }

func stepNew(a *app, f *flag.FlagSet) func(context.Context, []string) error {
	runRef := f.String("run", "", "`RUN` it is derived from")
	take := f.String("take", "", "take the first proposal of the finding `ID` of that run's debrief; r1.2 takes its second")
	change := f.String("change", "", "the `CHANGE` in one line")
	bikeName := f.String("bike", "", "`NAME` of the bike, where no run says it")
	settingID := f.String("setting", "", "`ID` of the setting")
	slot := f.String("slot", "", "`LETTER` of the slot; otherwise the trial slot")
	rows := f.String("rows", "", "`BAND` of rows of a grid, as 45..50")
	columns := f.String("columns", "", "`BAND` of columns of a grid")
	gears := f.String("gears", "", "`GEARS` of a list, as 2,3 or 2..4")
	by := f.String("by", "", "`AMOUNT` to add, in the setting's unit")
	tableFile := f.String("table", "", "values of the setting as a plain text table in `FILE`, pasted from anywhere; \"-\" reads them from stdin")
	reason := f.String("reason", "", "why, in `WORDS`; printed on the sheet")
	remark := f.Int("remark", 0, "`NUMBER` of the remark it answers")
	turn := f.Int("turn", 0, "turn `NUMBER` where it is judged")
	measure := f.String("measure", "", "`MEASURE` it is judged by: segment, exit, cut, ...")
	expect := f.String("expect", "", "`less|more`: the direction hoped for")
	matters := f.Float64("matters", 0, "smallest `DIFFERENCE` that matters, in the measure's unit")
	author := f.String("author", "", "`NAME` of the engineer")
	surface := f.String("surface", "", "`dry|wet`")
	tyre := f.String("tyre", "", "`warm|cold|worn|changed`")
	air := f.String("air", "", "weather in `WORDS`")
	why := f.String("why", "", "`REASON` for a step on top of one without a verdict")
	dry := f.Bool("dry-run", false, "show step and guards, record nothing")
	var overrules many
	f.Var(&overrules, "overrule", "`\"GUARD=NAME: REASON\"`; may be given several times")
	return func(ctx context.Context, args []string) error {
		if err := none(args); err != nil {
			return err
		}
		b, err := a.theBook()
		if err != nil {
			return err
		}
		var s setting.Step
		n := 0
		if *runRef != "" {
			r, err := b.Run(*runRef)
			if err != nil {
				return err
			}
			n, *bikeName = r.Number, r.Bike
		}
		switch {
		case *take != "":
			if n == 0 {
				return usage("--take needs the run of the debrief", "add --run RUN")
			}
			if s, err = takeProposal(ctx, b, n, *take, *author); err != nil {
				return err
			}
		case *tableFile != "":
			if s, err = a.pastedTable(b, *bikeName, *settingID, *slot, *tableFile); err != nil {
				return err
			}
		default:
			if s, err = sayChange(b, *bikeName, *change, *settingID, *slot, *rows, *columns, *gears, *by); err != nil {
				return err
			}
		}
		s.Run = n
		if *reason != "" {
			s.Reason = *reason
		}
		if *remark != 0 {
			s.Remark = *remark
		}
		if *turn != 0 {
			s.Primary.Turn = *turn
		}
		if *measure != "" {
			if _, err := measureInfo(*measure); err != nil {
				return err
			}
			if s.Primary.Measure != *measure {
				s.Primary.Matters = 0
			}
			s.Primary.Measure = *measure
		}
		if *expect != "" {
			if *expect != "less" && *expect != "more" {
				return usage(fmt.Sprintf("--expect %s is not a direction", *expect), "use less or more")
			}
			s.Primary.Expect = *expect
		}
		if *matters > 0 {
			s.Primary.Matters = *matters
		}
		for _, o := range overrules {
			x, err := parseOverrule(o)
			if err != nil {
				return err
			}
			s.Overrules = append(s.Overrules, x)
		}
		opt := book.StepOptions{Author: *author, Why: *why, Conditions: book.Conditions{Surface: *surface, Tyre: *tyre, Air: *air}}
		if *dry {
			gs, err := b.Guards(ctx, s, opt)
			if err != nil {
				return err
			}
			return a.showStep(b, book.Step{Step: s, Author: *author, Guards: gs})
		}
		got, err := b.NewStep(ctx, s, opt)
		if err != nil {
			if errors.Is(err, book.ErrConflict) && len(got.Guards) > 0 && !a.json {
				a.showStep(b, got)
			}
			return err
		}
		return a.showStep(b, got)
	}
}

func measureInfo(name string) (book.MeasureInfo, error) {
	var names []string
	for _, m := range book.Measures() {
		if m.Name == name {
			return m, nil
		}
		names = append(names, m.Name)
	}
	return book.MeasureInfo{}, usage(fmt.Sprintf("there is no measure %q", name), "use one of: "+strings.Join(names, ", "))
}

func parseOverrule(s string) (setting.Overrule, error) {
	guard, rest, ok1 := strings.Cut(s, "=")
	who, reason, ok2 := strings.Cut(rest, ":")
	o := setting.Overrule{Guard: strings.TrimSpace(guard), Who: strings.TrimSpace(who), Reason: strings.TrimSpace(reason)}
	if !ok1 || !ok2 || o.Guard == "" || o.Who == "" || o.Reason == "" {
		return o, usage(fmt.Sprintf("--overrule %q does not name guard, person and reason", s), `write it like --overrule "weather=A. Reed: dry since noon"`)
	}
	return o, nil
}

// takeProposal finds a proposal of a debrief by "r1", "r1.2" or "u3".
func takeProposal(ctx context.Context, b *book.Book, run int, ref, author string) (setting.Step, error) {
	id, nth, has := strings.Cut(ref, ".")
	k := 1
	if has {
		var err error
		if k, err = strconv.Atoi(nth); err != nil || k < 1 {
			return setting.Step{}, usage(fmt.Sprintf("--take %s does not name a proposal", ref), "write it like r1 or r1.2")
		}
	}
	res, err := b.Debrief(ctx, run, debrief.Options{Overrule: author})
	if err != nil {
		return setting.Step{}, err
	}
	var ids []string
	for _, f := range append(append([]debrief.Finding{}, res.Findings...), res.Unasked...) {
		ids = append(ids, f.ID)
		if f.ID != id {
			continue
		}
		i := 0
		for _, p := range f.Proposals {
			if p.Kind != debrief.ChangeSetting {
				continue
			}
			if i++; i < k {
				continue
			}
			s := p.Step
			s.Finding, s.Remark = f.ID, f.Remark
			if s.Reason == "" {
				s.Reason = p.Why.String()
			}
			if s.Primary.Turn == 0 {
				s.Primary.Turn = f.Turn
			}
			return s, nil
		}
		return setting.Step{}, &book.Error{Kind: book.ErrInvalid, Text: say.Plain(fmt.Sprintf("finding %s has %d proposals that change a setting, not %d", id, i, k)), Mend: "say the change yourself: --change"}
	}
	return setting.Step{}, &book.Error{Kind: book.ErrNotFound, Text: say.Plain(fmt.Sprintf("the debrief of run %d has no finding %q", run, id)), Mend: say.Plain("it has: " + strings.Join(ids, ", "))}
}

// pastedTable makes a step of a table of values: the cells in which it differs
// from what the slot holds now.
func (a *app) pastedTable(b *book.Book, bikeName, id, slot, path string) (setting.Step, error) {
	var none setting.Step
	k, err := b.Bike(bikeName)
	if err != nil {
		return none, err
	}
	st := k.Bike.Setting(id)
	if st == nil {
		var ids []string
		for _, x := range k.Bike.Settings {
			ids = append(ids, x.ID)
		}
		return none, usage(fmt.Sprintf("%s has no setting %q to put a table into", k.Name, id), "--setting one of: "+strings.Join(ids, ", "))
	}
	if slot == "" {
		slot = k.Bike.Slots.Trial
	}
	var text []byte
	if path == "-" {
		text, err = io.ReadAll(io.LimitReader(a.stdin, 1<<20))
	} else {
		text, err = readSmall(path)
	}
	if err != nil {
		return none, err
	}
	v, err := setting.ParseTable(st, len(k.Bike.Drive.Gears), string(text))
	var te *setting.TableError
	if errors.As(err, &te) {
		return none, &book.Error{Kind: book.ErrInvalid, File: path, Line: te.Line, Column: te.Column, Text: say.Plain(te.Text), Mend: say.Plain(te.Mend)}
	} else if err != nil {
		return none, err
	}
	sheet, err := b.CurrentSheet(k.Name)
	if err != nil {
		return none, err
	}
	old := sheet.Sheet.Values(slot, id)
	if old == nil {
		return none, &book.Error{Kind: book.ErrInvalid, Text: say.Plain(fmt.Sprintf("slot %q holds no values of %s", slot, id)), Mend: say.Plain("see the values: cornerwright sheet show " + fmt.Sprint(sheet.Number))}
	}
	s := setting.Step{Bike: k.Name, From: sheet.Number, Slot: slot, Setting: id, State: "proposed"}
	for i := range old {
		for j := range old[i] {
			if v[i][j] != old[i][j] {
				s.Cells = append(s.Cells, setting.Cell{Row: i, Column: j, Old: old[i][j], New: v[i][j]})
			}
		}
	}
	if len(s.Cells) == 0 {
		return none, &book.Error{Kind: book.ErrInvalid, File: path, Text: say.Plain(fmt.Sprintf("the table is what slot %s holds already", slot)), Mend: "change a value in it"}
	}
	return s, nil
}

// sayChange makes a step of a change in words or in typed flags.
func sayChange(b *book.Book, bikeName, change, id, slot, rows, columns, gears, by string) (setting.Step, error) {
	k, err := b.Bike(bikeName)
	if err != nil {
		return setting.Step{}, err
	}
	if change == "" {
		if id == "" || by == "" {
			return setting.Step{}, usage("no change is given", `take a proposal with --run RUN --take r1, or say it: --change "B:slip-target[45..50, 80..110] +1"`)
		}
		if slot == "" {
			slot = k.Bike.Slots.Trial
		}
		where := ""
		switch {
		case gears != "":
			where = "[" + gears + "]"
		case rows != "" || columns != "":
			s := k.Bike.Setting(id)
			all := func(a setting.Axis) string {
				if len(a.Points) == 0 {
					return ""
				}
				return setting.Number(a.Points[0]) + ".." + setting.Number(a.Points[len(a.Points)-1])
			}
			if s != nil && rows == "" {
				rows = all(s.Rows)
			}
			if s != nil && columns == "" {
				columns = all(s.Columns)
			}
			where = "[" + rows + ", " + columns + "]"
		}
		if !strings.HasPrefix(by, "+") && !strings.HasPrefix(by, "-") {
			by = "+" + by
		}
		change = slot + ":" + id + where + " " + by
	}
	c, err := setting.ParseChange(change, k.Bike.Setting)
	if err != nil {
		return setting.Step{}, &book.Error{Kind: book.ErrInvalid, Err: err, Mend: `write it like "B:slip-target[45..50, 80..110] +1" or "B:engine-brake[2] +10"`}
	}
	sheet, err := b.CurrentSheet(k.Name)
	if err != nil {
		return setting.Step{}, err
	}
	s, err := c.Propose(k.Bike.Setting(c.Setting), sheet.Sheet)
	if err != nil {
		return s, &book.Error{Kind: book.ErrInvalid, Err: err, Mend: say.Plain("see the values: cornerwright sheet show " + fmt.Sprint(sheet.Number))}
	}
	return s, nil
}
