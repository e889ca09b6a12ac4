package book

import (
	"fmt"
	"path/filepath"
	"sort"
	"strings"

	_ "modernc.org/sqlite" // the driver "sqlite"
)

// sweep clears what an interrupted write has left: files in tmp/ go, column
// folders without a run go (they can be made anew), and an original that the
// database does not know is a user's file and is taken in.
func (b *Book) sweep() error {
	for _, d := range []string{"originals", "runs", "tmp"} {
		if err := b.fs.MkdirAll(filepath.Join(b.dir, d)); err != nil {
			return err
		}
	}
	left, err := b.fs.ReadDir(filepath.Join(b.dir, "tmp"))
	if err != nil {
		return err
	}
	for _, e := range left {
		if err := b.fs.RemoveAll(filepath.Join(b.dir, "tmp", e.Name())); err != nil {
			return err
		}
		b.swept = append(b.swept, "half-written tmp/"+e.Name()+" removed")
	}
	known := map[string]bool{}
	if err := each(b.r, func(s scanner) error {
		var h string
		if err := s.Scan(&h); err != nil {
			return err
		}
		known[h] = true
		return nil
	}, `SELECT hash FROM original`); err != nil {
		return err
	}
	stored, err := b.storedOriginals()
	if err != nil {
		return err
	}
	for _, h := range stored {
		if known[h] {
			continue
		}
		size, packed, err := b.verifyOriginal(h)
		if err != nil {
			b.swept = append(b.swept, fmt.Sprintf("original %s is damaged and unknown: left where it is (%v)", h[:12], err))
			continue
		}
		if err := b.tx(func(t *tx) error {
			return t.exec(`INSERT INTO original VALUES (?,?,?,?,?,?)`, h, "", size, packed, t.at, "adding was interrupted; add the file again")
		}); err != nil {
			return err
		}
		b.swept = append(b.swept, fmt.Sprintf("original %s was stored when adding was interrupted: kept; add the file again to get its run", h[:12]))
	}
	runs := map[string]bool{}
	if err := each(b.r, func(s scanner) error {
		var id string
		if err := s.Scan(&id); err != nil {
			return err
		}
		runs[id] = true
		return nil
	}, `SELECT id FROM run`); err != nil {
		return err
	}
	for _, dir := range b.columnDirs() {
		id, ok := strings.CutPrefix(filepath.Base(dir), "run=")
		if ok && !runs[id] {
			if err := b.fs.RemoveAll(dir); err != nil {
				return err
			}
			b.swept = append(b.swept, "column file of a run that was never finished removed (run="+id+")")
		}
	}
	sort.Strings(b.swept)
	return nil
}

// columnDirs lists the folders run=... of runs/.
func (b *Book) columnDirs() []string {
	var out []string
	root := filepath.Join(b.dir, "runs")
	ms, _ := b.fs.ReadDir(root)
	for _, m := range ms {
		bs, _ := b.fs.ReadDir(filepath.Join(root, m.Name()))
		for _, k := range bs {
			rs, _ := b.fs.ReadDir(filepath.Join(root, m.Name(), k.Name()))
			for _, r := range rs {
				out = append(out, filepath.Join(root, m.Name(), k.Name(), r.Name()))
			}
		}
	}
	return out
}
