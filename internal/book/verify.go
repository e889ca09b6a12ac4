package book

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"path/filepath"

	"cornerwright/internal/circuit"
	"cornerwright/internal/intake"
)

// VerifyOptions say how deep to look.
type VerifyOptions struct {
	Recompute int // results to compute anew and compare, the newest runs first
	Progress  func(what string, share float64)
}

// VerifyReport is what was looked at, and what is wrong.
type VerifyReport struct {
	Originals  int      `json:"originals"`
	Bytes      int64    `json:"bytes"` // of originals, unpacked
	Columns    int      `json:"columns"`
	Runs       int      `json:"runs"`
	Recomputed int      `json:"recomputed"`
	Faults     []string `json:"faults"` // something is lost or wrong
	Notes      []string `json:"notes"`  // something can be made anew
}

// Verify reads everything back: the database's own structure and foreign keys,
// every original against its hash, every column file against what the run
// says, and a sample of results computed anew.
func (b *Book) Verify(ctx context.Context, o VerifyOptions) (VerifyReport, error) {
	rep := VerifyReport{Faults: []string{}, Notes: []string{}}
	say := func(what string, share float64) {
		if o.Progress != nil {
			o.Progress(what, share)
		}
	}
	fault := func(format string, args ...any) { rep.Faults = append(rep.Faults, fmt.Sprintf(format, args...)) }
	say("database", 0)
	// On a connection of its own: one that has searched words remembers their index as
	// it was then, and takes what the writer added since for damage.
	own, err := sql.Open("sqlite", dsn(b.dbPath(), "", "query_only(1)"))
	if err != nil {
		return rep, b.ioError(err)
	}
	defer own.Close()
	if err := each(own, func(s scanner) error {
		var line string
		if err := s.Scan(&line); err != nil {
			return err
		}
		if line != "ok" {
			fault("book.db: %s", line)
		}
		return nil
	}, `PRAGMA integrity_check(20)`); err != nil {
		fault("book.db: %v", err)
	}
	if err := each(b.r, func(s scanner) error {
		var table, parent string
		var row any
		var key int
		if err := s.Scan(&table, &row, &parent, &key); err != nil {
			return err
		}
		fault("book.db: a row of %s points to a row of %s that is not there", table, parent)
		return nil
	}, `PRAGMA foreign_key_check`); err != nil {
		fault("book.db: %v", err)
	}

	type orig struct {
		hash, name string
		bytes      int64
	}
	var all []orig
	if err := each(b.r, func(s scanner) error {
		var x orig
		err := s.Scan(&x.hash, &x.name, &x.bytes)
		all = append(all, x)
		return err
	}, `SELECT hash, name, bytes FROM original ORDER BY hash`); err != nil {
		return rep, b.ioError(err)
	}
	known := map[string]bool{}
	for i, x := range all {
		if err := ctx.Err(); err != nil {
			return rep, err
		}
		say("originals", 0.1+0.5*float64(i)/float64(len(all)))
		known[x.hash] = true
		size, _, err := b.verifyOriginal(x.hash)
		switch {
		case err != nil:
			fault("original %s (%s): %s", x.hash[:12], x.name, errText(err))
		case size != x.bytes:
			fault("original %s (%s): %d bytes, the book says %d", x.hash[:12], x.name, size, x.bytes)
		default:
			rep.Originals++
			rep.Bytes += size
		}
	}
	stored, err := b.storedOriginals()
	if err != nil {
		return rep, b.ioError(err)
	}
	for _, h := range stored {
		if !known[h] {
			rep.Notes = append(rep.Notes, "original "+h[:12]+" is stored and not in the database: it is taken in when the book is opened")
		}
	}

	runs, err := b.Runs(RunFilter{Struck: true})
	if err != nil {
		return rep, err
	}
	rep.Runs = len(runs)
	for i, r := range runs {
		if err := ctx.Err(); err != nil {
			return rep, err
		}
		say("column files", 0.6+0.2*float64(i)/float64(len(runs)))
		path := b.columnPath(r.Meeting, r.Bike, r.ID)
		rel, _ := filepath.Rel(b.dir, path)
		if ok, err := exists(b.fs, path); err != nil {
			return rep, b.ioError(err)
		} else if !ok {
			rep.Notes = append(rep.Notes, fmt.Sprintf("run %d: its column file %s is gone; export and 'verify --mend' make it anew", r.Number, rel))
			continue
		}
		if err := b.verifyColumns(ctx, r, path); errors.Is(err, intake.ErrColumnsVersion) {
			rep.Notes = append(rep.Notes, fmt.Sprintf("run %d: its column file %s is of an earlier version; it is made anew when the run is computed, or by 'verify --mend'", r.Number, rel))
			continue
		} else if err != nil {
			fault("run %d: column file %s: %v", r.Number, rel, err)
			continue
		}
		rep.Columns++
	}
	for i := len(runs) - 1; i >= 0 && rep.Recomputed < o.Recompute; i-- {
		say("results computed anew", 0.8+0.2*float64(rep.Recomputed)/float64(o.Recompute))
		if err := b.verifyResult(ctx, runs[i]); err != nil {
			if ctx.Err() != nil {
				return rep, ctx.Err()
			}
			fault("run %d: %v", runs[i].Number, err)
		}
		rep.Recomputed++
	}
	return rep, nil
}

// verifyResult computes a run anew and compares its laps with the stored ones.
func (b *Book) verifyResult(ctx context.Context, r Run) error {
	old, err := b.Summary(ctx, r.Number)
	if err != nil {
		return err
	}
	c, err := b.Circuit(r.Circuit)
	if err != nil {
		return err
	}
	x, err := b.compute(ctx, r, c)
	if err != nil {
		return err
	}
	return sameLaps(old.Laps, x.Laps)
}

func sameLaps(a, b []circuit.Lap) error {
	if len(a) != len(b) {
		return fmt.Errorf("%d laps are stored, computed anew there are %d", len(a), len(b))
	}
	for i := range a {
		if a[i].Kind != b[i].Kind || math.Abs(a[i].Start-b[i].Start) > 1e-6 || math.Abs(a[i].End-b[i].End) > 1e-6 {
			return fmt.Errorf("lap %d differs from the one computed anew", a[i].Number)
		}
	}
	return nil
}

// MendColumns makes missing or damaged column files anew from the originals and
// returns the runs it mended.
func (b *Book) MendColumns(ctx context.Context) ([]int, error) {
	runs, err := b.Runs(RunFilter{Struck: true})
	if err != nil {
		return nil, err
	}
	var out []int
	for _, r := range runs {
		path := b.columnPath(r.Meeting, r.Bike, r.ID)
		ok, err := exists(b.fs, path)
		if err != nil {
			return out, b.ioError(err)
		}
		if ok && b.verifyColumns(ctx, r, path) == nil {
			continue
		}
		res, of, rec, err := b.reread(ctx, r)
		if err != nil {
			return out, err
		}
		if err := b.replaceColumns(path, res, of, rec); err != nil {
			return out, b.ioError(err)
		}
		out = append(out, r.Number)
	}
	return out, nil
}
