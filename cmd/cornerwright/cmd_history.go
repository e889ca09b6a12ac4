package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/setting"
)

// historyCommand tells what values a cell has had, on which sheets and by which
// steps.
func historyCommand() *command {
	return &command{name: "sheet history", args: "CELL", short: "tell which values a cell has had, on which sheets and by which steps",
		long:    "A cell is named as in a change: slot, colon, setting, in brackets the row and column of a grid or the gear of a list. A stretch names several cells.",
		example: `cornerwright sheet history "B:engine-brake[2]" --book season`,
		setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
			bikeName := f.String("bike", "", "`NAME` of the bike, where the book holds several")
			return func(ctx context.Context, args []string) error {
				if len(args) != 1 {
					return usage("one cell is needed", `write it like "B:slip-target[45, 90]" or "B:engine-brake[2]"`)
				}
				b, err := a.toRead()
				if err != nil {
					return err
				}
				k, err := b.Bike(*bikeName)
				if err != nil {
					return err
				}
				past, err := historyOf(b, k, args[0])
				if err != nil {
					return err
				}
				if a.json {
					return a.answer(map[string]any{"bike": k.Name, "history": past})
				}
				rows := [][]string{{"cell", "sheet", "value", "step", "state", "note"}}
				for _, p := range past {
					step := ""
					if p.Step > 0 {
						step = fmt.Sprint(p.Step)
					}
					rows = append(rows, []string{p.Cell, fmt.Sprint(p.Sheet), setting.Number(p.Value) + " " + p.Unit, step, p.State, p.Note})
				}
				a.table(rows)
				return nil
			}
		}}
}

type pastValue struct {
	Slot    string  `json:"slot"`
	Setting string  `json:"setting"`
	Cell    string  `json:"cell,omitempty"`
	Row     int     `json:"row"`
	Column  int     `json:"column"`
	Sheet   int     `json:"sheet"`
	Value   float64 `json:"value"`
	Unit    string  `json:"unit,omitempty"`
	Step    int     `json:"step,omitempty"`
	State   string  `json:"state,omitempty"` // of the step now
	Note    string  `json:"note,omitempty"`
}

func historyOf(b *book.Book, k book.BikeRecord, cell string) ([]pastValue, error) {
	bad := func(err error) error {
		return &book.Error{Kind: book.ErrInvalid, Err: err, Mend: `write a cell like "B:slip-target[45, 90]" or "B:engine-brake[2]"`}
	}
	// A cell is a change to nought: the same words, the same errors.
	c, err := setting.ParseChange(cell+" = 0", k.Bike.Setting)
	if err != nil {
		// What was added to the cell is not what was typed.
		return nil, bad(errors.New(strings.ReplaceAll(strings.ReplaceAll(strings.Replace(err.Error(), "change ", "cell ", 1), " = 0\"", "\""), "; write it like B:slip-target[45..50, 80..110] +1", "")))
	}
	s := k.Bike.Setting(c.Setting)
	all, err := b.Sheets(k.Name)
	if err != nil {
		return nil, err
	}
	var sheets []setting.Sheet
	by := map[int]book.Sheet{}
	for _, x := range all {
		sheets = append(sheets, x.Sheet)
		by[x.Number] = x
	}
	if len(all) == 0 {
		return nil, bad(fmt.Errorf("bike %s has no sheet yet", k.Name))
	}
	now, err := b.CurrentSheet(k.Name)
	if err != nil {
		return nil, err
	}
	// By one, so that every cell named is found, whatever it holds.
	c.Exact, c.By, c.Taper = false, 1, false
	cells, err := c.Cells(s, now.Values(c.Slot, c.Setting))
	if err != nil {
		return nil, bad(err)
	}
	out := []pastValue{}
	for _, x := range cells {
		for _, p := range setting.History(sheets, c.Slot, c.Setting, x.Row, x.Column) {
			v := pastValue{Slot: c.Slot, Setting: c.Setting, Cell: s.CellName(x.Row, x.Column), Row: x.Row, Column: x.Column, Sheet: p.Sheet, Value: p.Value, Unit: s.Unit, Note: by[p.Sheet].Note}
			if v.Step = by[p.Sheet].Step; v.Step > 0 {
				st, err := b.Step(v.Step)
				if err != nil {
					return nil, err
				}
				v.State = st.State
				if v.Note == "" {
					v.Note = st.Reason
				}
			}
			out = append(out, v)
		}
	}
	return out, nil
}
