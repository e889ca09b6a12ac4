package book

import (
	"database/sql"
	"net/url"
	"path"
	"path/filepath"
)

// snapshot is a copy of a database, opened to read.
type snapshot struct{ db *sql.DB }

func openSnapshot(file string) (*snapshot, error) {
	db, err := sql.Open("sqlite", "file:"+(&url.URL{Path: filepath.ToSlash(file)}).EscapedPath()+"?mode=ro&_pragma=query_only(1)")
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	return &snapshot{db}, nil
}

func (s *snapshot) close() {
	if s.db != nil {
		s.db.Close()
		s.db = nil
	}
}

func (s *snapshot) lastEvent() (int64, error) {
	var n int64
	err := s.db.QueryRow(`SELECT coalesce(max(seq), 0) FROM event`).Scan(&n)
	return n, err
}

// files lists the originals and column files that the database names, with
// slashes, relative to the book.
func (s *snapshot) files() ([]string, error) {
	var out []string
	err := each(s.db, func(r scanner) error {
		var h string
		err := r.Scan(&h)
		if err == nil {
			out = append(out, path.Join("originals", h[:2], h+".zst"))
		}
		return err
	}, `SELECT hash FROM original ORDER BY hash`)
	if err != nil {
		return nil, err
	}
	err = each(s.db, func(r scanner) error {
		var meeting, bikeName, id string
		err := r.Scan(&meeting, &bikeName, &id)
		if err == nil {
			out = append(out, path.Join("runs", "meeting="+meeting, "bike="+slug(bikeName), "run="+id, "channels.parquet"))
		}
		return err
	}, `SELECT meeting, bike, id FROM run ORDER BY number`)
	return out, err
}
