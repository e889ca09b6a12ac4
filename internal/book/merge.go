package book

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"

	"cornerwright/internal/circuit"
	"cornerwright/internal/say"
)

// MergeReport tells what another book has brought.
type MergeReport struct {
	Originals int      `json:"originals"`
	Runs      int      `json:"runs"`
	Remarks   int      `json:"remarks"`
	Steps     int      `json:"steps"`
	Sheets    int      `json:"sheets"`
	Known     int      `json:"known"` // runs that were in both
	Notes     []string `json:"notes"`
}

// Merge takes everything of another book that this one has not: originals,
// runs, remarks, steps, sheets, marks. Things are told apart by content or by
// their random names, so merging again, or both ways, makes no doubles. What
// differs is kept side by side; numbers of this book stay as they are, and what
// comes in is numbered on. The other book is only read.
//
// Results are not copied: they are made anew on this book's lines (Recompute).
func (b *Book) Merge(ctx context.Context, dir string) (MergeReport, error) {
	rep := MergeReport{Notes: []string{}}
	o, err := Open(dir, WithFS(b.fs), ReadOnly())
	if errors.Is(err, ErrNotFound) {
		return rep, &Error{Kind: ErrNotFound, File: dir, Text: say.T("there is no book here (no book.db)"), Mend: say.T("name the folder of the other book")}
	}
	if err != nil {
		return rep, err
	}
	defer o.Close()
	mine, err := b.ID()
	if err != nil {
		return rep, b.ioError(err)
	}
	theirs, err := o.ID()
	if err != nil {
		return rep, b.ioError(err)
	}
	if mine == theirs && o.dir == b.dir {
		return rep, invalid(say.T("a book cannot be merged with itself"), say.T("name the other book"))
	}
	b.adding.Lock()
	defer b.adding.Unlock()
	m := &merge{b: b, o: o, rep: &rep, circuits: map[string]string{}, meetings: map[string]string{}, bikes: map[string]int{}, runs: map[int]int{}, sheets: map[int]int{}, steps: map[int]int{}, remarks: map[int]int{}}
	// Files before rows, as ever.
	if err := m.originals(ctx); err != nil {
		return rep, err
	}
	if err := m.matchCircuits(); err != nil {
		return rep, err
	}
	if err := m.columns(ctx); err != nil {
		return rep, err
	}
	err = b.tx(m.rows)
	b.rides.clear()
	return rep, err
}

type merge struct {
	b, o     *Book
	rep      *MergeReport
	circuits map[string]string // their name -> ours
	meetings map[string]string // likewise
	bring    []*circuit.Circuit
	origin   map[string]say.Text
	bikes    map[string]int // "name\x00version" -> our version
	runs     map[int]int
	sheets   map[int]int
	steps    map[int]int
	remarks  map[int]int
}

func (m *merge) originals(ctx context.Context) error {
	type row struct {
		hash, name, fault string
		bytes             int64
	}
	var all []row
	if err := each(m.o.r, func(s scanner) error {
		var r row
		err := s.Scan(&r.hash, &r.name, &r.fault, &r.bytes)
		all = append(all, r)
		return err
	}, `SELECT hash, name, fault, bytes FROM original ORDER BY added, hash`); err != nil {
		return m.b.ioError(err)
	}
	for _, r := range all {
		if err := ctx.Err(); err != nil {
			return err
		}
		var n int
		if err := m.b.r.QueryRow(`SELECT count(*) FROM original WHERE hash = ?`, r.hash).Scan(&n); err != nil {
			return m.b.ioError(err)
		}
		if n > 0 {
			continue
		}
		data, err := m.o.originalBytes(r.hash)
		if err != nil {
			return err
		}
		stored, err := m.b.storeOriginal(r.hash, bytes.NewReader(data), int64(len(data)))
		if err != nil {
			return err
		}
		if err := m.b.knowOriginal(r.hash, r.name, r.bytes, stored, say.Text(r.fault)); err != nil {
			return err
		}
		m.rep.Originals++
	}
	return nil
}

// matchCircuits finds for each of their circuits ours of the same name and the
// same turns. Two laptops that have learnt one circuit each agree to a few
// metres; where they do not, turn numbers of remarks would mean other places,
// so theirs comes in under a name of its own.
func (m *merge) matchCircuits() error {
	theirs, err := m.o.Circuits()
	if err != nil {
		return err
	}
	ours, err := m.b.Circuits()
	if err != nil {
		return err
	}
	known := map[string]CircuitRecord{}
	for _, r := range ours {
		known[r.Name] = r
	}
	m.origin = map[string]say.Text{}
	for _, t := range theirs {
		tc, _, err := m.o.circuitAt(t.Name, t.Version)
		if err != nil {
			return err
		}
		name, err := m.named(tc, ours, t.Name)
		if err != nil {
			return err
		}
		for n := 2; ; n++ {
			r, there := known[name]
			if !there {
				c := *tc
				c.Name = name
				m.bring = append(m.bring, &c)
				m.origin[name] = t.Origin
				if name != t.Name {
					m.rep.Notes = append(m.rep.Notes, fmt.Sprintf("%s of the other book has other turns than ours: it comes in as %s", t.Name, name))
				}
				break
			}
			oc, _, err := m.b.circuitAt(r.Name, r.Version)
			if err != nil {
				return err
			}
			if sameTurns(oc, tc) {
				break
			}
			name = fmt.Sprintf("%s (%d)", t.Name, n)
		}
		m.circuits[t.Name] = name
	}
	return nil
}

// named is the name of the circuit of ours that has the turns of theirs, which one
// of the two books may have renamed since; their name where none has.
func (m *merge) named(theirs *circuit.Circuit, ours []CircuitRecord, name string) (string, error) {
	if theirs.Line.Length == 0 {
		return name, nil // edits that no run has taught yet
	}
	same := ""
	for _, r := range ours {
		c, _, err := m.b.circuitAt(r.Name, r.Version)
		if err != nil {
			return "", err
		}
		if sameTurns(c, theirs) && (same == "" || r.Name == name) {
			same = r.Name
		}
	}
	if same == "" {
		same = name
	}
	return same, nil
}

// sameTurns tells whether turn numbers mean the same places on two lines.
func sameTurns(a, b *circuit.Circuit) bool {
	if a.Line.Length == 0 || b.Line.Length == 0 {
		return a.Line.Length == b.Line.Length
	}
	if len(a.Turns) != len(b.Turns) || math.Abs(a.Line.Length-b.Line.Length) > 0.01*a.Line.Length {
		return false
	}
	for i := range a.Turns {
		s, t := a.Turns[i], b.Turns[i]
		if s.Number != t.Number || s.Direction != t.Direction {
			return false
		}
		x, y, _, _ := a.Line.At(s.Apex)
		u, v, _, _ := b.Line.At(t.Apex)
		alat, alon := a.Frame.LatLon(x, y)
		blat, blon := b.Frame.LatLon(u, v)
		const earth = 6371000.0
		if math.Hypot((alat-blat)*earth, (alon-blon)*earth*math.Cos(alat)) > 60 {
			return false
		}
	}
	return true
}

// meeting is the name here of a meeting of the other book: ours at the same circuit
// on the same day, if there is one.
func (m *merge) meeting(id, theirCircuit string) (string, error) {
	ours := m.circuits[theirCircuit]
	if name, ok := m.meetings[id]; ok || ours == "" {
		if !ok {
			name = id
		}
		return name, nil
	}
	day := "undated"
	if len(id) > 10 && id[4] == '-' {
		day = id[:10]
	}
	wish := id
	if ours != theirCircuit {
		wish = day + "-" + slug(ours)
	}
	name, err := m.b.meetingID(ours, day, wish)
	if err != nil {
		return "", err
	}
	m.meetings[id] = name
	return name, nil
}

func (m *merge) columns(ctx context.Context) error {
	runs, err := m.o.Runs(RunFilter{Struck: true})
	if err != nil {
		return err
	}
	for _, r := range runs {
		if err := ctx.Err(); err != nil {
			return err
		}
		var n int
		if err := m.b.r.QueryRow(`SELECT count(*) FROM run WHERE id = ?`, r.ID).Scan(&n); err != nil {
			return m.b.ioError(err)
		}
		if n > 0 {
			continue
		}
		f, err := m.o.fs.Open(m.o.columnPath(r.Meeting, r.Bike, r.ID))
		if err != nil {
			continue // it can be made anew
		}
		meeting, err := m.meeting(r.Meeting, r.Circuit)
		if err != nil {
			f.Close()
			return err
		}
		err = m.b.writeFile(m.b.columnPath(meeting, r.Bike, r.ID), func(w io.Writer) error {
			_, err := io.Copy(w, f)
			return err
		})
		f.Close()
		if err != nil {
			return m.b.ioError(err)
		}
	}
	return nil
}
