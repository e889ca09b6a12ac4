package book

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"math"
	"slices"

	"cornerwright/internal/intake"
	"cornerwright/internal/recording"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
)

// Remap reads an original that holds runs already with another column map, and
// makes everything that was found in these runs anew. Remarks, marks on laps and
// steps stay. Nothing changes where the file does not give the same runs with
// the new map, or one of them cannot be analysed; the error says so.
func (b *Book) Remap(ctx context.Context, original string, columns []byte, name string) ([]Run, error) {
	if b.readOnly {
		return nil, b.tx(nil)
	}
	b.adding.Lock()
	defer b.adding.Unlock()
	runs, err := b.runsOf(original)
	if err != nil {
		return nil, err
	}
	if len(runs) == 0 {
		return nil, notFound(say.T("no run was read from this original"), say.T("add the recording with the column map"))
	}
	data, err := b.originalBytes(original)
	if err != nil {
		return nil, err
	}
	in := &input{ReaderAt: bytes.NewReader(data), size: int64(len(data)), hash: original}
	res, err := readFile(runs[0].Name, in, name, columns, nil)
	if err != nil {
		return nil, err
	}
	parts, of := outingsOf(res)
	type again struct {
		run  Run
		rec  *recording.Recording
		of   int
		ride *ride.Ride
	}
	var list []again
	for _, r := range runs {
		a := again{run: r}
		for i, p := range parts {
			s := p.Span()
			if math.Abs(s.From-r.Span[0])+math.Abs(s.To-r.Span[1]) < 2 {
				a.rec, a.of = p, of[i]
			}
		}
		if a.rec == nil {
			return nil, conflict(say.T("read so, the file does not hold run {number} any more", r.Number), say.T("leave the column of time as it was"))
		}
		a.rec.Hash = original
		if err := usable(a.rec, r.Name); err != nil {
			return nil, err
		}
		c, err := b.Circuit(r.Circuit)
		if err != nil {
			return nil, err
		}
		k, err := b.bikeOf(r)
		if err != nil {
			return nil, err
		}
		if a.ride, err = ride.Analyse(a.rec, k, c, ride.Options{}); err != nil {
			return nil, &Error{Kind: ErrInvalid, Text: say.T("read so, run {number} cannot be analysed", r.Number), Err: err, Mend: say.T("put the columns of place, time and speed right")}
		}
		if a.ride.Circuit == nil {
			a.ride.Circuit = c
		}
		a.ride.Circuit.Version = c.Version
		settle(a.ride)
		list = append(list, a)
		if err := ctx.Err(); err != nil {
			return nil, err
		}
	}
	// What was made of the old map goes first: where the power fails after that,
	// the runs are read from their original by whichever map the database holds.
	for _, a := range list {
		for _, path := range []string{b.columnPath(a.run.Meeting, a.run.Bike, a.run.ID), b.ridePath(a.run)} {
			if ok, err := exists(b.fs, path); err != nil || !ok {
				if err != nil {
					return nil, b.ioError(err)
				}
				continue
			}
			if err := b.fs.Remove(path); err != nil {
				return nil, b.ioError(err)
			}
		}
	}
	err = b.tx(func(t *tx) error {
		if err := t.exec(`INSERT INTO map VALUES (?,?,?,?) ON CONFLICT (head) DO UPDATE SET name = excluded.name, source = excluded.source, added = excluded.added`, headOf(res), name, columns, t.at); err != nil {
			return err
		}
		for i, a := range list {
			problems := a.rec.Problems
			if i == 0 {
				problems = append(append([]recording.Problem{}, res.Problems...), problems...)
			}
			problems = append(slices.Clip(problems), a.ride.Problems...)
			text, err := json.Marshal(append([]recording.Kept{}, recording.Keep(problems)...))
			if err != nil {
				return err
			}
			if err := t.exec(`UPDATE run SET map = ?, problems = ?, rows = ? WHERE number = ?`, columns, string(text), a.rec.Rows, a.run.Number); err != nil {
				return err
			}
			k, err := b.bikeOf(a.run)
			if err != nil {
				return err
			}
			if err := t.saveResult(a.run.Number, a.ride, visitsOf(a.ride, k)); err != nil {
				return err
			}
			if err := t.event(Event{Kind: "run", Run: a.run.Number, Ref: a.run.ID}); err != nil {
				return err
			}
		}
		return nil
	})
	b.rides.clear()
	if err != nil {
		return nil, err
	}
	for _, a := range list {
		// Where these fail the original serves.
		_ = b.replaceColumns(b.columnPath(a.run.Meeting, a.run.Bike, a.run.ID), res, a.of, a.rec)
		b.keepRide(a.run, a.ride.Circuit.Version, a.ride)
	}
	return b.runsOf(original)
}

// Columns tells what became of the columns of an original, and which runs were
// read from it. Of a text only about the first most bytes are read: enough to
// show. The map, nil for none, is the one that the runs were read with.
func (b *Book) Columns(original string, most int) (res *intake.Result, runs []Run, m *intake.ColumnMap, err error) {
	if runs, err = b.runsOf(original); err != nil {
		return nil, nil, nil, err
	}
	if len(runs) > 0 {
		var text []byte
		if err := b.r.QueryRow(`SELECT map FROM run WHERE number = ?`, runs[0].Number).Scan(&text); err != nil {
			return nil, nil, nil, b.ioError(err)
		}
		if len(text) > 0 {
			if m, err = intake.ParseColumnMap("column map", text); err != nil {
				return nil, runs, nil, Invalid(err)
			}
		}
	}
	f, err := b.Original(original)
	if err != nil {
		return nil, runs, m, err
	}
	defer f.Close()
	head, err := io.ReadAll(io.LimitReader(f, int64(most)))
	if err != nil {
		return nil, runs, m, damaged(say.T("original {x} cannot be unpacked", original[:12]), err)
	}
	opt := intake.Options{Map: m, NoHealth: true}
	if end := bytes.LastIndexByte(head, '\n'); len(head) == most && end > 0 && !bytes.Contains(head, []byte{0}) {
		if res, err = intake.Read("the recording", head[:end+1], opt); err == nil {
			return res, runs, m, nil
		}
	}
	rest, err := io.ReadAll(f)
	if err != nil {
		return nil, runs, m, damaged(say.T("original {x} cannot be unpacked", original[:12]), err)
	}
	if res, err = intake.Read("the recording", append(head, rest...), opt); err != nil {
		err = Invalid(err)
	}
	return res, runs, m, err
}

// OriginalName is the name under which an original came, "" if it is not known.
func (b *Book) OriginalName(hash string) string {
	var name string
	if b.r.QueryRow(`SELECT name FROM original WHERE hash = ?`, hash).Scan(&name) != nil {
		return ""
	}
	return name
}
