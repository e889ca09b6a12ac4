package book

import (
	"bytes"
	"database/sql"
	"encoding/gob"
	"errors"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"
	"unicode"

	"cornerwright/internal/circuit"
	"cornerwright/internal/say"
)

// pack and unpack keep computed values: gob, which holds NaN and forgives new
// fields, in a zstd frame.
func (b *Book) pack(v any) ([]byte, error) {
	var buf bytes.Buffer
	if err := gob.NewEncoder(&buf).Encode(v); err != nil {
		return nil, err
	}
	return b.enc.EncodeAll(buf.Bytes(), nil), nil
}

func (b *Book) unpack(data []byte, v any) error {
	raw, err := b.dec.DecodeAll(data, nil)
	if err != nil {
		return err
	}
	return gob.NewDecoder(bytes.NewReader(raw)).Decode(v)
}

// AddCircuit edits a learnt circuit by hand: gate, names and numbers of turns.
// The file names the circuit; name is the file's name, for messages. A circuit
// that no run has taught yet is kept as edits and applied when a run is added
// with --circuit and its name.
func (b *Book) AddCircuit(name string, toml []byte) (CircuitRecord, error) {
	e, err := circuit.ParseFile(name, toml)
	if err != nil {
		var fe *circuit.FileError
		if errors.As(err, &fe) {
			return CircuitRecord{}, &Error{Kind: ErrInvalid, File: fe.File, Line: fe.Line, Column: fe.Column, Text: fe.Text, Mend: fe.Mend}
		}
		return CircuitRecord{}, asInvalid(err)
	}
	if e.Name == "" {
		return CircuitRecord{}, &Error{Kind: ErrInvalid, File: name, Line: 1, Text: say.T("the file does not name its circuit"), Mend: say.T(`put name = "..." on top`)}
	}
	b.adding.Lock()
	defer b.adding.Unlock()
	old, _, err := b.circuitLine(e.Name)
	if err != nil && !errors.Is(err, ErrNotFound) && !errors.Is(err, ErrInvalid) {
		return CircuitRecord{}, err
	}
	c := &circuit.Circuit{Name: e.Name}
	// The whole name counts: a beginning of it is another circuit's name.
	if old != nil && strings.EqualFold(old.Name, e.Name) {
		e.Name = old.Name
		c = old
		turns := append([]circuit.Turn(nil), c.Turns...)
		copied := *c
		copied.Turns = turns
		c = &copied
		if len(c.Turns) > 0 {
			if err := c.Apply(e); err != nil {
				bad := &Error{Kind: ErrInvalid, File: name, Err: err, Mend: say.T("compare the places with: cornerwright turns last")}
				var ee *circuit.EditError
				if errors.As(err, &ee) {
					bad.Line, bad.Column = circuit.LineOfEdit(toml, ee.Table, ee.Index), 1
				}
				return CircuitRecord{}, bad
			}
		}
	}
	if err := b.tx(func(t *tx) error {
		return t.saveCircuit(c, say.T("file {file}", filepath.Base(name)), toml)
	}); err != nil {
		return CircuitRecord{}, err
	}
	b.rides.clear()
	return b.circuitRecord(e.Name)
}

// RenameCircuit gives a circuit another name, everywhere: its line, its edits, its
// runs and meetings. It stands when the circuit is learnt anew, and its runs are
// found by either name. Nothing is computed anew. name is the present name, in any
// case, or an unmistakable beginning of it.
func (b *Book) RenameCircuit(name, to string) (CircuitRecord, error) {
	to = strings.TrimSpace(to)
	const longest = 80
	if to == "" || len([]rune(to)) > longest || strings.ContainsFunc(to, unicode.IsControl) {
		return CircuitRecord{}, invalid(say.T("{name} is no name for a circuit", strconv.Quote(to)), say.T("give 1 to {longest} letters on one line", longest))
	}
	b.adding.Lock()
	defer b.adding.Unlock()
	c, _, err := b.circuitLine(name)
	if err != nil {
		return CircuitRecord{}, err
	}
	all, err := b.Circuits()
	if err != nil {
		return CircuitRecord{}, err
	}
	for _, o := range all {
		if o.Name != c.Name && strings.EqualFold(o.Name, to) {
			return CircuitRecord{}, invalid(say.T("the book has a circuit named {name} already", o.Name), say.T("give another name"))
		}
	}
	if to == c.Name {
		return b.circuitRecord(to)
	}
	if err := b.tx(func(t *tx) error {
		var runs []int
		if err := each(t, func(s scanner) error {
			var n int
			err := s.Scan(&n)
			runs = append(runs, n)
			return err
		}, `SELECT number FROM run WHERE circuit = ?`, c.Name); err != nil {
			return err
		}
		for _, n := range runs {
			if err := t.index(n, to); err != nil {
				return err
			}
		}
		for _, table := range []string{"circuit SET name", "meeting SET circuit", "run SET circuit"} {
			column := table[strings.LastIndexByte(table, ' ')+1:]
			if err := t.exec(`UPDATE `+table+` = ? WHERE `+column+` = ?`, to, c.Name); err != nil {
				return err
			}
		}
		return t.event(Event{Kind: "circuit", Ref: to})
	}); err != nil {
		return CircuitRecord{}, err
	}
	b.rides.clear()
	return b.circuitRecord(to)
}

// meetingID is the name of the meeting at a circuit on a day: the one there is,
// which keeps its name when the circuit gets another, else the one wished for,
// made so that no other circuit's meeting has it.
func (b *Book) meetingID(circuit, day, wish string) (string, error) {
	var id string
	err := b.r.QueryRow(`SELECT id FROM meeting WHERE circuit = ? AND day = ? ORDER BY id LIMIT 1`, circuit, day).Scan(&id)
	if err == nil || !errors.Is(err, sql.ErrNoRows) {
		return id, b.ioError(err)
	}
	id = wish
	for n := 2; ; n++ {
		var there int
		if err := b.r.QueryRow(`SELECT count(*) FROM meeting WHERE id = ?`, id).Scan(&there); err != nil || there == 0 {
			return id, b.ioError(err)
		}
		id = fmt.Sprintf("%s-%d", wish, n)
	}
}

// CircuitEdits are the edits by hand that stand on a circuit; nil for none.
func (b *Book) CircuitEdits(name string) (*circuit.Edits, error) {
	c, source, err := b.circuitLine(name)
	if err != nil || len(source) == 0 {
		return nil, err
	}
	e, err := circuit.ParseFile(c.Name+".toml", source)
	if err != nil {
		return nil, asInvalid(err)
	}
	e.Name = c.Name // that of the source was right when it was written
	return e, nil
}

// saveCircuit stores a new version of a circuit.
func (t *tx) saveCircuit(c *circuit.Circuit, origin say.Text, source []byte) error {
	var version int
	var old []byte
	err := t.QueryRow(`SELECT coalesce(max(version), 0) FROM circuit WHERE name = ?`, c.Name).Scan(&version)
	if err != nil {
		return err
	}
	if version > 0 && source == nil {
		if err := t.QueryRow(`SELECT source FROM circuit WHERE name = ? AND version = ?`, c.Name, version).Scan(&old); err != nil {
			return err
		}
		source = old
	}
	c.Version = version + 1
	data, err := t.b.pack(c)
	if err != nil {
		return err
	}
	if err := t.exec(`INSERT INTO circuit VALUES (?,?,?,?,?,?,?,?,?,?)`, c.Name, c.Version, string(origin), len(c.Turns), c.Line.Length,
		c.Frame.Lat, c.Frame.Lon, data, source, t.at); err != nil {
		return err
	}
	return t.event(Event{Kind: "circuit", Ref: c.Name})
}

const circuitSelect = `SELECT name, version, origin, turns, length, added FROM circuit c
	WHERE version = (SELECT max(version) FROM circuit WHERE name = c.name)`

func scanCircuit(s scanner) (CircuitRecord, error) {
	var r CircuitRecord
	var at int64
	err := s.Scan(&r.Name, &r.Version, &r.Origin, &r.Turns, &r.Length, &at)
	r.Added = instant(at)
	return r, err
}

// Circuits lists the circuits by name.
func (b *Book) Circuits() ([]CircuitRecord, error) {
	var out []CircuitRecord
	err := each(b.r, func(s scanner) error {
		r, err := scanCircuit(s)
		out = append(out, r)
		return err
	}, circuitSelect+` ORDER BY name`)
	return out, b.ioError(err)
}

func (b *Book) circuitRecord(name string) (CircuitRecord, error) {
	r, err := scanCircuit(b.r.QueryRow(circuitSelect+` AND name = ?`, name))
	return r, b.ioError(err)
}

// Circuit returns a circuit by name, in any case, or an unmistakable beginning
// of it, with its reference line.
func (b *Book) Circuit(name string) (*circuit.Circuit, error) {
	c, _, err := b.circuitLine(name)
	return c, err
}

// circuitLine returns the circuit and the source of its edits, if any.
func (b *Book) circuitLine(name string) (*circuit.Circuit, []byte, error) {
	all, err := b.Circuits()
	if err != nil {
		return nil, nil, err
	}
	var names []string
	for _, r := range all {
		names = append(names, r.Name)
	}
	i, err := pick("circuit", name, names, say.T("add a run: the circuit is learnt from it"))
	if err != nil {
		return nil, nil, err
	}
	return b.circuitAt(all[i].Name, all[i].Version)
}

func (b *Book) circuitAt(name string, version int) (*circuit.Circuit, []byte, error) {
	var data, src []byte
	if err := b.r.QueryRow(`SELECT line, source FROM circuit WHERE name = ? AND version = ?`, name, version).Scan(&data, &src); err != nil {
		return nil, nil, b.ioError(err)
	}
	var c circuit.Circuit
	if err := b.unpack(data, &c); err != nil {
		return nil, nil, damaged(say.T("version {version} of the circuit {name} cannot be read", version, name), err)
	}
	c.Name = name // packed before it was renamed
	return &c, src, nil
}

// knownCircuits are the newest lines of all circuits that have one.
func (b *Book) knownCircuits() ([]*circuit.Circuit, error) {
	all, err := b.Circuits()
	if err != nil {
		return nil, err
	}
	var out []*circuit.Circuit
	for _, r := range all {
		if r.Length == 0 {
			continue // edits only, not taught yet
		}
		c, _, err := b.circuitAt(r.Name, r.Version)
		if err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	return out, nil
}
