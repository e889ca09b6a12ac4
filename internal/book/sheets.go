package book

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"

	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

const sheetSelect = `SELECT number, bike, parent, step, slots, note, added FROM sheet`

func scanSheet(s scanner) (Sheet, error) {
	var r Sheet
	var slots string
	var at int64
	if err := s.Scan(&r.Number, &r.Bike, &r.Parent, &r.Step, &slots, &r.Note, &at); err != nil {
		return r, err
	}
	r.Added = instant(at)
	if err := json.Unmarshal([]byte(slots), &r.Slots); err != nil {
		return r, damaged(say.T("sheet {number} cannot be read", r.Number), err)
	}
	return r, nil
}

func (t *tx) insertSheet(s setting.Sheet, step int, id string) (int, error) {
	slots, err := json.Marshal(s.Slots)
	if err != nil {
		return 0, err
	}
	n, err := t.insert(`INSERT INTO sheet (uid, bike, parent, step, slots, note, added, after_state)
		VALUES (?,?,?,?,?,?,?, (SELECT coalesce(max(id), 0) FROM step_state))`,
		id, s.Bike, s.Parent, step, string(slots), s.Note, t.at)
	if err != nil {
		return 0, err
	}
	return n, t.event(Event{Kind: "sheet", Step: step, Ref: fmt.Sprint(n)})
}

// Sheets lists a bike's sheets ("" all), oldest first.
func (b *Book) Sheets(bikeName string) ([]Sheet, error) {
	var out []Sheet
	err := each(b.r, func(s scanner) error {
		r, err := scanSheet(s)
		out = append(out, r)
		return err
	}, sheetSelect+` WHERE ?1 = '' OR bike = ?1 ORDER BY number`, bikeName)
	return out, b.ioError(err)
}

// Sheet returns one sheet.
func (b *Book) Sheet(n int) (Sheet, error) {
	s, err := scanSheet(b.r.QueryRow(sheetSelect+` WHERE number = ?`, n))
	if errors.Is(err, sql.ErrNoRows) {
		return s, notFound(say.T("there is no sheet {n}", n), say.T("list them: cornerwright sheet list"))
	}
	return s, b.ioError(err)
}

// CurrentSheet is the sheet that is in the bike as far as the book knows: the
// newest of the bike file, moved on by every step that was loaded and moved
// back by every one that was reverted. A step that is kept moves its values into
// the reference slot too: that is a sheet of its own.
func (b *Book) CurrentSheet(bikeName string) (Sheet, error) {
	s, err := currentSheet(b.r, bikeName)
	return s, b.ioError(err)
}

func currentSheet(q querier, bikeName string) (Sheet, error) {
	// In order of what happened: sheets of files and changes of state.
	current := 0
	err := each(q, func(s scanner) error {
		var kind, now string
		var from, to, kept int
		var at, ord int64
		if err := s.Scan(&kind, &now, &from, &to, &kept, &at, &ord); err != nil {
			return err
		}
		switch {
		case kind == "file":
			current = to
		case now == Loaded || now == Repeated:
			current = to
		case now == Kept:
			current = kept
		case now == Reverted && (current == to || current == kept):
			current = from
		}
		return nil
	}, `SELECT 'file', '', 0, number, 0, CASE WHEN after_state >= 0 THEN after_state
			ELSE (SELECT coalesce(max(id), 0) FROM step_state WHERE at < sheet.added) END, number FROM sheet WHERE bike = ?1 AND step = 0
		UNION ALL
		SELECT 'state', x.now, s.from_sheet, s.to_sheet, (SELECT max(number) FROM sheet WHERE step = s.id), x.id, x.id FROM step_state x JOIN step s ON s.id = x.step WHERE s.bike = ?1
		ORDER BY 6, 1 DESC, 7`, bikeName)
	if err != nil {
		return Sheet{}, err
	}
	if current == 0 {
		return Sheet{}, notFound(say.T("the book holds no sheet of {bikename}", bikeName), say.T("add the bike: cornerwright bike FILE.toml"))
	}
	return scanSheet(q.QueryRow(sheetSelect+` WHERE number = ?`, current))
}
