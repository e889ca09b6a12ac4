package book

import (
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/hex"
	"errors"
	"io/fs"
	"os"
	"strings"
	"time"

	_ "modernc.org/sqlite" // the driver "sqlite"

	"cornerwright/internal/say"
)

// tx is one writing transaction with one "now".
type tx struct {
	*sql.Tx
	b      *Book
	at     int64 // ms
	events []Event
}

func (t *tx) exec(q string, args ...any) error {
	_, err := t.Exec(q, args...)
	return err
}

// insert returns the number of the new row.
func (t *tx) insert(q string, args ...any) (int, error) {
	r, err := t.Exec(q, args...)
	if err != nil {
		return 0, err
	}
	n, err := r.LastInsertId()
	return int(n), err
}

func (t *tx) event(e Event) error {
	n, err := t.insert(`INSERT INTO event (at, kind, run, step, ref, who) VALUES (?,?,?,?,?,?)`, t.at, e.Kind, e.Run, e.Step, e.Ref, e.Who)
	e.Seq = int64(n)
	t.events = append(t.events, e)
	return err
}

// tx runs fn in one transaction; what fn did is acknowledged only when tx
// returns nil, and then it is on the disk.
func (b *Book) tx(fn func(*tx) error) error {
	if b.readOnly {
		return &Error{Kind: ErrLocked, File: b.dir, Text: say.T("the book is open for reading only"), Mend: say.T("stop the process that has the book open, or do it on its page")}
	}
	if err := b.stillThere(); err != nil {
		return err
	}
	s, err := b.w.BeginTx(context.Background(), nil)
	if err != nil {
		return b.ioError(err)
	}
	t := &tx{Tx: s, b: b, at: b.now().UnixMilli()}
	err = fn(t)
	if err == nil {
		err = b.stillThere()
	}
	if err == nil {
		err = b.fs.Point("commit")
	}
	if err != nil {
		s.Rollback()
		return b.ioError(err)
	}
	if err := s.Commit(); err != nil {
		return b.ioError(err)
	}
	if len(t.events) > 0 {
		b.tell(t.events[len(t.events)-1].Seq)
	}
	return b.fs.Point("committed")
}

// stillThere tells whether book.db is still the file that was opened. A system
// may go on writing to a file whose folder was deleted, and nobody would ever
// see that again: better to say so than to acknowledge it.
func (b *Book) stillThere() error {
	if b.db == nil {
		return nil // being opened or restored
	}
	now, err := b.fs.Stat(b.dbPath())
	if err == nil && os.SameFile(now, b.db) {
		return nil
	}
	return &Error{Kind: ErrDamaged, File: b.dir, Text: say.T("the book's folder is gone, or another one is in its place"), Err: err,
		Mend: say.T("put the disk or stick back and open the book again; what was acknowledged before is on it")}
}

// ioError gives an error of disk or database its kind; errors that have one
// stay as they are.
func (b *Book) ioError(err error) error {
	if err == nil {
		return nil
	}
	for _, k := range []error{ErrInvalid, ErrNotFound, ErrConflict, ErrDamaged, ErrLocked, context.Canceled, context.DeadlineExceeded} {
		if errors.Is(err, k) {
			return err
		}
	}
	text := err.Error()
	e := &Error{Kind: ErrDamaged, File: b.dir, Err: err}
	switch {
	case strings.Contains(text, "no space") || strings.Contains(text, "is full") || strings.Contains(text, "disk quota"):
		e.Text, e.Mend = say.T("the disk is full"), say.T("make room and do it again; what was acknowledged before is safe")
	case errors.Is(err, fs.ErrPermission) || strings.Contains(text, "readonly") || strings.Contains(text, "read-only"):
		e.Text, e.Mend = say.T("the book's folder cannot be written"), say.T("take the write protection off, or copy the book to a disk that can be written")
	case strings.Contains(text, "malformed") || strings.Contains(text, "not a database"):
		e.Text, e.Mend = say.T("the book is damaged"), say.T("run 'cornerwright verify', then restore the last backup into a new folder")
	default:
		e.Text, e.Mend = say.T("reading or writing the book failed"), say.T("see whether the disk or stick is still there, then do it again; what was acknowledged before is safe")
	}
	return e
}

type scanner interface{ Scan(...any) error }

type querier interface {
	Query(string, ...any) (*sql.Rows, error)
	QueryRow(string, ...any) *sql.Row
}

// each calls fn for every row of a query.
func each(q querier, fn func(scanner) error, query string, args ...any) error {
	rows, err := q.Query(query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := fn(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// uid is a random name of 16 bytes in hex.
func uid() string {
	var b [16]byte
	rand.Read(b[:])
	return hex.EncodeToString(b[:])
}

func instant(ms int64) time.Time {
	if ms == 0 {
		return time.Time{}
	}
	return time.UnixMilli(ms).UTC()
}

func millis(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixMilli()
}
