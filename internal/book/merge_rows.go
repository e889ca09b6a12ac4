package book

import (
	"bytes"
	"fmt"
)

// rows brings the rows over in one transaction, in the order of what they
// depend on.
func (m *merge) rows(t *tx) error {
	for _, c := range m.bring {
		if err := t.saveCircuit(c, m.origin[c.Name], nil); err != nil {
			return err
		}
	}
	for _, f := range []func(*tx) error{m.bikeRows, m.sheetRows, m.runRows, m.toldRows, m.remarkRows, m.stepRows, m.stateRows, m.markRows, m.mapRows} {
		if err := f(t); err != nil {
			return err
		}
	}
	id, err := m.o.ID()
	if err != nil {
		return err
	}
	// By its name, not its folder: no path of a machine is kept in a book.
	return t.event(Event{Kind: "merge", Ref: id})
}

func (m *merge) bikeRows(t *tx) error {
	return each(m.o.r, func(s scanner) error {
		var name, file string
		var version int
		var src []byte
		if err := s.Scan(&name, &version, &file, &src); err != nil {
			return err
		}
		ours, newest := 0, 0
		if err := each(t, func(s scanner) error {
			var v int
			var x []byte
			if err := s.Scan(&v, &x); err != nil {
				return err
			}
			if bytes.Equal(x, src) {
				ours = v
			}
			newest = v
			return nil
		}, `SELECT version, source FROM bike WHERE name = ? ORDER BY version`, name); err != nil {
			return err
		}
		if ours == 0 {
			ours = newest + 1
			if err := t.exec(`INSERT INTO bike VALUES (?,?,?,?,?)`, name, ours, file, src, t.at); err != nil {
				return err
			}
		}
		m.bikes[fmt.Sprintf("%s\x00%d", name, version)] = ours
		return nil
	}, `SELECT name, version, file, source FROM bike ORDER BY name, version`)
}

// byUID finds our row of a random name.
func byUID(t *tx, table, column, id string) (int, error) {
	var n int
	err := t.QueryRow(`SELECT `+column+` FROM `+table+` WHERE uid = ?`, id).Scan(&n)
	if noRows(err) {
		return 0, nil
	}
	return n, err
}

func (m *merge) sheetRows(t *tx) error {
	return each(m.o.r, func(s scanner) error {
		var n, parent, step int
		var id, bikeName, slots, note string
		var added int64
		if err := s.Scan(&n, &id, &bikeName, &parent, &step, &slots, &note, &added); err != nil {
			return err
		}
		ours, err := byUID(t, "sheet", "number", id)
		if err != nil {
			return err
		}
		if ours == 0 && step == 0 {
			// The same bike file added on both laptops is one sheet.
			err := t.QueryRow(`SELECT number FROM sheet WHERE bike = ? AND step = 0 AND slots = ? ORDER BY number DESC LIMIT 1`, bikeName, slots).Scan(&ours)
			if err != nil && !noRows(err) {
				return err
			}
		}
		if ours == 0 {
			// The step's number follows when steps are brought; -1 keeps the sheet
			// from passing as one of a bike file meanwhile.
			if step > 0 {
				step = -1
			}
			ours, err = t.insert(`INSERT INTO sheet (uid, bike, parent, step, slots, note, added) VALUES (?,?,?,?,?,?,?)`, id, bikeName, m.sheets[parent], step, slots, note, added)
			if err != nil {
				return err
			}
			m.rep.Sheets++
		}
		m.sheets[n] = ours
		return nil
	}, `SELECT number, uid, bike, parent, step, slots, note, added FROM sheet ORDER BY number`)
}

func (m *merge) runRows(t *tx) error {
	if err := each(m.o.r, func(s scanner) error {
		var id, name, day, called string
		var added int64
		if err := s.Scan(&id, &name, &day, &called, &added); err != nil {
			return err
		}
		ours, err := m.meeting(id, name)
		if err != nil {
			return err
		}
		return t.exec(`INSERT INTO meeting VALUES (?,?,?,?,?) ON CONFLICT DO NOTHING`, ours, m.circuits[name], day, called, added)
	}, `SELECT id, circuit, day, name, added FROM meeting ORDER BY id`); err != nil {
		return err
	}
	type run struct {
		number, version, outing, rows, sheet, step                   int
		id, meeting, bike, circuit, name, original, format, problems string
		from, to, duration                                           float64
		started, added                                               int64
		colmap                                                       []byte
	}
	return each(m.o.r, func(s scanner) error {
		var r run
		if err := s.Scan(&r.number, &r.id, &r.meeting, &r.bike, &r.version, &r.circuit, &r.name, &r.original, &r.outing, &r.from, &r.to, &r.format, &r.rows,
			&r.started, &r.added, &r.duration, &r.sheet, &r.step, &r.colmap, &r.problems); err != nil {
			return err
		}
		var ours int
		err := t.QueryRow(`SELECT number FROM run WHERE id = ?`, r.id).Scan(&ours)
		if err != nil && !noRows(err) {
			return err
		}
		if ours > 0 {
			m.rep.Known++
			m.runs[r.number] = ours
			return nil
		}
		meeting, err := m.meeting(r.meeting, r.circuit)
		if err != nil {
			return err
		}
		// run.step is set once steps are brought.
		ours, err = t.insert(`INSERT INTO run (id, meeting, bike, bike_version, circuit, name, original, outing, from_s, to_s, format, rows, started, added, duration, sheet, step, map, problems)
			VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,0,?,?)`, r.id, meeting, r.bike, m.bikes[fmt.Sprintf("%s\x00%d", r.bike, r.version)], m.circuits[r.circuit],
			r.name, r.original, r.outing, r.from, r.to, r.format, r.rows, r.started, r.added, r.duration, m.sheets[r.sheet], r.colmap, r.problems)
		if err != nil {
			return err
		}
		m.runs[r.number] = ours
		m.rep.Runs++
		if err := t.index(ours, r.name+" "+m.circuits[r.circuit]+" "+r.bike+" "+r.meeting); err != nil {
			return err
		}
		return t.event(Event{Kind: "run", Run: ours, Ref: r.id})
	}, `SELECT number, id, meeting, bike, bike_version, circuit, name, original, outing, from_s, to_s, format, rows, started, added, duration, sheet, step, map, problems FROM run ORDER BY number`)
}

func (m *merge) toldRows(t *tx) error {
	type word struct {
		run        int
		field      string
		value, who string
		at         int64
	}
	return each(m.o.r, func(s scanner) error {
		var id string
		var w word
		if err := s.Scan(&id, &w.run, &w.field, &w.value, &w.who, &w.at); err != nil {
			return err
		}
		have, err := byUID(t, "told", "id", id)
		if err != nil || have > 0 {
			return err
		}
		run := m.runs[w.run]
		var ours word
		err = t.QueryRow(`SELECT value, who, at FROM told WHERE run = ? AND field = ? ORDER BY id DESC LIMIT 1`, run, w.field).Scan(&ours.value, &ours.who, &ours.at)
		if err != nil && !noRows(err) {
			return err
		}
		both := err == nil && ours.value != w.value
		if _, err := t.insert(`INSERT INTO told (uid, run, field, value, who, at) VALUES (?,?,?,?,?,?)`, id, run, w.field, w.value, w.who, w.at); err != nil {
			return err
		}
		if err := t.index(run, w.value); err != nil {
			return err
		}
		if both {
			m.rep.Notes = append(m.rep.Notes, fmt.Sprintf("run %d: both books say something about %s: %q and %q; the later word counts", run, w.field, ours.value, w.value))
			if ours.at >= w.at {
				_, err := t.insert(`INSERT INTO told (uid, run, field, value, who, at) VALUES (?,?,?,?,?,?)`, uid(), run, w.field, ours.value, ours.who, ours.at)
				return err
			}
		}
		return nil
	}, `SELECT uid, run, field, value, who, at FROM told ORDER BY id`)
}

func (m *merge) remarkRows(t *tx) error {
	return each(m.o.r, func(s scanner) error {
		var n, run, strength int
		var id, turns, phase, lean, says, words, rider, who string
		var said, added int64
		if err := s.Scan(&n, &id, &run, &turns, &phase, &lean, &says, &strength, &words, &rider, &said, &who, &added); err != nil {
			return err
		}
		ours, err := byUID(t, "remark", "id", id)
		if err != nil {
			return err
		}
		if ours == 0 {
			ours, err = t.insert(`INSERT INTO remark (uid, run, turns, phase, lean, says, strength, words, rider, said, who, added) VALUES (?,?,?,?,?,?,?,?,?,?,?,?)`,
				id, m.runs[run], turns, phase, lean, says, strength, words, rider, said, who, added)
			if err != nil {
				return err
			}
			if err := t.index(m.runs[run], words+" "+says); err != nil {
				return err
			}
			m.rep.Remarks++
			if err := t.event(Event{Kind: "remark", Run: m.runs[run], Ref: fmt.Sprint(ours), Who: who}); err != nil {
				return err
			}
		}
		m.remarks[n] = ours
		return nil
	}, `SELECT id, uid, run, turns, phase, lean, says, strength, words, rider, said, who, added FROM remark ORDER BY id`)
}

func (m *merge) stepRows(t *tx) error {
	if err := each(m.o.r, func(s scanner) error {
		var n, from, to, remark, run int
		var id, bikeName, slot, set, cells, reason, finding, aim, author, guards string
		var added int64
		if err := s.Scan(&n, &id, &bikeName, &from, &to, &slot, &set, &cells, &reason, &remark, &finding, &run, &aim, &author, &guards, &added); err != nil {
			return err
		}
		ours, err := byUID(t, "step", "id", id)
		if err != nil {
			return err
		}
		if ours == 0 {
			ours, err = t.insert(`INSERT INTO step (uid, bike, from_sheet, to_sheet, slot, setting, cells, reason, remark, finding, run, aim, author, guards, added) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)`,
				id, bikeName, m.sheets[from], m.sheets[to], slot, set, cells, reason, m.remarks[remark], finding, m.runs[run], aim, author, guards, added)
			if err != nil {
				return err
			}
			m.rep.Steps++
			if err := t.event(Event{Kind: "step", Step: ours, Run: m.runs[run], Ref: Proposed, Who: author}); err != nil {
				return err
			}
		}
		m.steps[n] = ours
		return nil
	}, `SELECT id, uid, bike, from_sheet, to_sheet, slot, setting, cells, reason, remark, finding, run, aim, author, guards, added FROM step ORDER BY id`); err != nil {
		return err
	}
	if err := each(m.o.r, func(s scanner) error {
		var n, step int
		if err := s.Scan(&n, &step); err != nil {
			return err
		}
		return t.exec(`UPDATE sheet SET step = ? WHERE number = ? AND step = -1`, m.steps[step], m.sheets[n])
	}, `SELECT number, step FROM sheet WHERE step > 0`); err != nil {
		return err
	}
	return each(m.o.r, func(s scanner) error {
		var n, step int
		if err := s.Scan(&n, &step); err != nil {
			return err
		}
		return t.exec(`UPDATE run SET step = ? WHERE number = ? AND step = 0`, m.steps[step], m.runs[n])
	}, `SELECT number, step FROM run WHERE step > 0`)
}

func (m *merge) stateRows(t *tx) error {
	if err := each(m.o.r, func(s scanner) error {
		var id, was, now, who, reason string
		var step, run int
		var at int64
		if err := s.Scan(&id, &step, &was, &now, &who, &reason, &run, &at); err != nil {
			return err
		}
		if have, err := byUID(t, "step_state", "id", id); err != nil || have > 0 {
			return err
		}
		_, err := t.insert(`INSERT INTO step_state (uid, step, was, now, who, reason, run, at) VALUES (?,?,?,?,?,?,?,?)`, id, m.steps[step], was, now, who, reason, m.runs[run], at)
		return err
	}, `SELECT uid, step, was, now, who, reason, run, at FROM step_state ORDER BY id`); err != nil {
		return err
	}
	return each(m.o.r, func(s scanner) error {
		var id, guard, who, reason string
		var step int
		var at int64
		if err := s.Scan(&id, &step, &guard, &who, &reason, &at); err != nil {
			return err
		}
		if have, err := byUID(t, "overrule", "id", id); err != nil || have > 0 {
			return err
		}
		_, err := t.insert(`INSERT INTO overrule (uid, step, guard, who, reason, at) VALUES (?,?,?,?,?,?)`, id, m.steps[step], guard, who, reason, at)
		return err
	}, `SELECT uid, step, guard, who, reason, at FROM overrule ORDER BY id`)
}

func (m *merge) markRows(t *tx) error {
	return each(m.o.r, func(s scanner) error {
		var id, kind, word, who, reason string
		var ref, lap int
		var at int64
		if err := s.Scan(&id, &kind, &ref, &lap, &word, &who, &reason, &at); err != nil {
			return err
		}
		if have, err := byUID(t, "mark", "id", id); err != nil || have > 0 {
			return err
		}
		switch kind {
		case "run", "lap":
			ref = m.runs[ref]
		case "remark":
			ref = m.remarks[ref]
		}
		_, err := t.insert(`INSERT INTO mark (uid, kind, ref, lap, word, who, reason, at) VALUES (?,?,?,?,?,?,?,?)`, id, kind, ref, lap, word, who, reason, at)
		return err
	}, `SELECT uid, kind, ref, lap, word, who, reason, at FROM mark ORDER BY id`)
}

func (m *merge) mapRows(t *tx) error {
	return each(m.o.r, func(s scanner) error {
		var head, name string
		var src []byte
		var added int64
		if err := s.Scan(&head, &name, &src, &added); err != nil {
			return err
		}
		return t.exec(`INSERT INTO map VALUES (?,?,?,?) ON CONFLICT DO NOTHING`, head, name, src, added)
	}, `SELECT head, name, source, added FROM map ORDER BY head`)
}
