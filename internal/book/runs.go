package book

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

const runSelect = `SELECT r.number, r.id, r.meeting, r.bike, r.bike_version, r.circuit, r.name, r.original, o.bytes, r.format, r.rows,
	r.outing, r.from_s, r.to_s, r.started, r.added, r.duration, r.sheet, r.step, r.problems,
	coalesce((SELECT line FROM result WHERE run = r.number), 0),
	coalesce((SELECT laps FROM result WHERE run = r.number), 0),
	coalesce((SELECT best FROM result WHERE run = r.number), 0),
	coalesce((SELECT word = 'struck' FROM mark WHERE kind = 'run' AND ref = r.number ORDER BY mark.id DESC LIMIT 1), 0) AS struck
	FROM run r JOIN original o ON o.hash = r.original`

func scanRun(s scanner) (Run, error) {
	var r Run
	var started, added int64
	var problems string
	if err := s.Scan(&r.Number, &r.ID, &r.Meeting, &r.Bike, &r.BikeFile, &r.Circuit, &r.Name, &r.Original, &r.Bytes, &r.Format, &r.Rows,
		&r.Outing, &r.Span[0], &r.Span[1], &started, &added, &r.Duration, &r.Sheet, &r.Step, &problems,
		&r.Line, &r.Laps, &r.Best, &r.Struck); err != nil {
		return r, err
	}
	r.Started, r.Added = instant(started), instant(added)
	var kept []recording.Kept
	err := json.Unmarshal([]byte(problems), &kept)
	r.Problems = recording.Unkeep(kept)
	if err != nil {
		return r, damaged(say.T("run {number} cannot be read", r.Number), err)
	}
	return r, nil
}

// tell fills in what people told about runs; the last word of each field counts.
func (b *Book) fillTold(runs []Run) error {
	if len(runs) == 0 {
		return nil
	}
	at := map[int]*Run{}
	for i := range runs {
		at[runs[i].Number] = &runs[i]
	}
	where, arg := ``, []any{}
	if len(runs) == 1 {
		where, arg = ` WHERE run = ?`, []any{runs[0].Number}
	}
	return each(b.r, func(s scanner) error {
		var n int
		var field, value string
		if err := s.Scan(&n, &field, &value); err != nil {
			return err
		}
		if r := at[n]; r != nil {
			switch field {
			case "slot":
				r.Slot = value
			case "tyre":
				r.Tyre = value
			case "weather":
				r.Weather = value
			case "note":
				r.Note = value
			}
		}
		return nil
	}, `SELECT run, field, value FROM told`+where+` ORDER BY id`, arg...)
}

// Runs lists runs in order of their number.
func (b *Book) Runs(f RunFilter) ([]Run, error) {
	var where []string
	var args []any
	add := func(cond string, v any) { where, args = append(where, cond), append(args, v) }
	if f.Bike != "" {
		add(`r.bike = ?`, f.Bike)
	}
	if f.Circuit != "" {
		add(`r.circuit = ?`, f.Circuit)
	}
	if f.Meeting != "" {
		add(`r.meeting = ?`, f.Meeting)
	}
	if !f.Since.IsZero() {
		add(`r.started >= ?`, f.Since.UnixMilli())
	}
	if !f.Until.IsZero() {
		add(`r.started < ?`, f.Until.UnixMilli())
	}
	for _, w := range ftsWords(f.Words) { // each may stand in another of the run's texts
		add(`r.number IN (SELECT run FROM words WHERE words MATCH ?)`, w)
	}
	q := runSelect
	if len(where) > 0 {
		q += ` WHERE ` + strings.Join(where, ` AND `)
	}
	if f.Limit > 0 {
		q += ` ORDER BY r.number DESC`
	} else {
		q += ` ORDER BY r.number`
	}
	var out []Run
	err := each(b.r, func(s scanner) error {
		r, err := scanRun(s)
		if err != nil {
			return err
		}
		if (!r.Struck || f.Struck) && (f.Limit == 0 || len(out) < f.Limit) {
			out = append(out, r)
		}
		return nil
	}, q, args...)
	if err == nil {
		err = b.fillTold(out)
	}
	return out, b.ioError(err)
}

// ftsWords turns what a person types into full-text queries, one a word, each found
// as the beginning of a word. Nothing typed is taken as syntax.
func ftsWords(words string) []string {
	var out []string
	for _, w := range strings.Fields(words) {
		w = strings.ReplaceAll(w, `"`, ``)
		if strings.ContainsFunc(w, func(r rune) bool {
			return r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' || r > 127
		}) {
			out = append(out, `"`+w+`"*`)
		}
	}
	return out
}

// Run finds a run by number, by the beginning of its id (at least four
// characters), or "last".
func (b *Book) Run(ref string) (Run, error) {
	ref = strings.ToLower(strings.TrimSpace(ref))
	find := func(cond string, args ...any) ([]Run, error) {
		var out []Run
		err := each(b.r, func(s scanner) error {
			r, err := scanRun(s)
			out = append(out, r)
			return err
		}, runSelect+cond, args...)
		if err == nil {
			for i := range out {
				if err = b.fillTold(out[i : i+1]); err != nil {
					break
				}
			}
		}
		return out, b.ioError(err)
	}
	if ref == "last" || ref == "" {
		all, err := find(` WHERE struck = 0 ORDER BY r.number DESC LIMIT 1`)
		if err != nil {
			return Run{}, err
		}
		if len(all) == 0 {
			return Run{}, notFound(say.T("the book holds no run"), say.T("add one: cornerwright add FILE --bike NAME"))
		}
		return all[0], nil
	}
	if n, err := strconv.Atoi(ref); err == nil && len(ref) < 8 {
		all, err := find(` WHERE r.number = ?`, n)
		if err != nil {
			return Run{}, err
		}
		if len(all) == 1 {
			return all[0], nil
		}
	}
	if len(ref) >= 4 && strings.Trim(ref, "0123456789abcdef-") == "" {
		all, err := find(` WHERE substr(r.id, 1, ?) = ?`, len(ref), ref)
		if err != nil {
			return Run{}, err
		}
		switch {
		case len(all) == 1:
			return all[0], nil
		case len(all) > 1:
			return Run{}, invalid(say.T("{ref} is the beginning of {all} runs", fmt.Sprintf("%q", ref), len(all)), say.T("give more of the id"))
		}
	}
	var last int
	if err := b.r.QueryRow(`SELECT coalesce(max(number), 0) FROM run`).Scan(&last); err != nil {
		return Run{}, b.ioError(err)
	}
	if last == 0 {
		return Run{}, notFound(say.T("there is no run {ref}: the book holds none", fmt.Sprintf("%q", ref)), say.T("add one: cornerwright add FILE --bike NAME"))
	}
	return Run{}, notFound(say.T("there is no run {ref}", fmt.Sprintf("%q", ref)), say.T(`runs are numbered to {last}; a run is named by its number, the beginning of its id, or "last"`, last))
}

// StrikeRun takes a run out of the lists by a mark (or puts it back).
func (b *Book) StrikeRun(run int, struck bool, who, reason string) error {
	r, err := b.Run(fmt.Sprint(run))
	if err != nil {
		return err
	}
	if r.Struck == struck {
		return nil
	}
	return b.tx(func(t *tx) error { return t.mark("run", run, 0, markWord(struck), who, reason, run) })
}

// Annotate says what people know about a run: field is slot, tyre, weather or
// note. The earlier words are kept.
func (b *Book) Annotate(run int, field, value, who string) error {
	switch field {
	case "slot", "tyre", "weather", "note":
	default:
		return invalid(say.T("{field} is not a field of a run", fmt.Sprintf("%q", field)), say.T("use slot, tyre, weather or note"))
	}
	if _, err := b.Run(fmt.Sprint(run)); err != nil {
		return err
	}
	return b.tx(func(t *tx) error {
		if err := t.told(run, field, value, who); err != nil {
			return err
		}
		return t.event(Event{Kind: "run", Run: run, Ref: field, Who: who})
	})
}

func (t *tx) told(run int, field, value, who string) error {
	if _, err := t.insert(`INSERT INTO told (uid, run, field, value, who, at) VALUES (?,?,?,?,?,?)`, uid(), run, field, value, who, t.at); err != nil {
		return err
	}
	return t.index(run, value)
}

// Meetings lists the meetings, newest first, with the numbers of their runs.
func (b *Book) Meetings() ([]Meeting, error) {
	var out []Meeting
	at := map[string]int{}
	err := each(b.r, func(s scanner) error {
		var m Meeting
		if err := s.Scan(&m.ID, &m.Circuit, &m.Day, &m.Name); err != nil {
			return err
		}
		at[m.ID] = len(out)
		out = append(out, m)
		return nil
	}, `SELECT id, circuit, day, name FROM meeting ORDER BY day DESC, id DESC`)
	if err == nil {
		err = each(b.r, func(s scanner) error {
			var id string
			var n int
			if err := s.Scan(&id, &n); err != nil {
				return err
			}
			if i, ok := at[id]; ok {
				out[i].Runs = append(out[i].Runs, n)
			}
			return nil
		}, `SELECT meeting, number FROM run ORDER BY number`)
	}
	return out, b.ioError(err)
}

// noRows tells whether a query found nothing.
func noRows(err error) bool { return errors.Is(err, sql.ErrNoRows) }
