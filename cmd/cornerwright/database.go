package main

import (
	"io"
	"os"
	"path/filepath"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/intake"
	"cornerwright/internal/say"
)

// databaseAmong takes a signal database out of the files of a folder: the bus
// logs beside it are read with it. Where there are several nobody knows which is
// meant.
func databaseAmong(list []string) (database string, rest []string, err error) {
	for _, path := range list {
		if !intake.IsDatabase(headOf(path)) {
			rest = append(rest, path)
			continue
		}
		if database != "" {
			return "", nil, &book.Error{Kind: book.ErrInvalid, File: path, Text: say.Plain("two signal databases are named, this and " + database), Mend: "say which with --database FILE.dbc, and leave the other out"}
		}
		database = path
	}
	return database, rest, nil
}

// headOf is the beginning of a file; nothing where it cannot be read, which is
// told when it is.
func headOf(path string) []byte {
	f, err := os.Open(path)
	if err != nil {
		return nil
	}
	defer f.Close()
	head := make([]byte, 4<<10)
	n, _ := io.ReadFull(f, head)
	return head[:n]
}

// bound packs a bus log with the signal database that tells what it means, so
// that the book keeps both, bit for bit, as one original. The same two files
// give the same package: no times are kept in it. The caller removes it with
// done.
func bound(log, database string) (path string, done func(), err error) {
	fail := func(file, text string, err error) (string, func(), error) {
		return "", func() {}, &book.Error{Kind: book.ErrInvalid, File: file, Text: say.Plain(text), Err: err, Mend: "check the name and the permissions"}
	}
	dir, err := os.MkdirTemp("", "cornerwright-log-")
	if err != nil {
		return fail("", "no temporary folder can be made", err)
	}
	done = func() { os.RemoveAll(dir) }
	path = filepath.Join(dir, strings.TrimSuffix(filepath.Base(log), filepath.Ext(log))+".zip")
	f, err := os.Create(path)
	if err != nil {
		done()
		return fail(path, "the log and its database cannot be packed", err)
	}
	var parts []intake.Part
	for _, name := range []string{database, log} {
		in, err := os.Open(name)
		if err != nil {
			f.Close()
			done()
			if os.IsNotExist(err) {
				return fail(name, "there is no such file", nil)
			}
			return fail(name, "the file cannot be read", err)
		}
		defer in.Close()
		parts = append(parts, intake.Part{Name: filepath.Base(name), Data: in})
	}
	if err := intake.Bind(f, parts...); err != nil {
		f.Close()
		done()
		return fail(log, "the log and its database cannot be packed", err)
	}
	if err := f.Close(); err != nil {
		done()
		return fail(path, "the log and its database cannot be packed", err)
	}
	return path, done, nil
}
