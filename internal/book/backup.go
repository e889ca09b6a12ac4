package book

import (
	"archive/zip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"sort"
	"strings"
	"time"

	"cornerwright/internal/say"
)

// A backup is one zip file without compression (what is in it is compressed):
//
//	manifest.json      format, book, time, and name, size, sha-256 of every file
//	book.db            a consistent copy of the database
//	originals/ab/...   as in the book
//	runs/...           the column files
//
// An incremental backup leaves out the files that an earlier backup holds; its
// manifest names that backup and lists them all the same, so that restoring
// from both is checked against one list.
const backupFormat = "cornerwright backup 1"

type manifest struct {
	Format string         `json:"format"`
	Book   string         `json:"book"`
	Made   string         `json:"made"`
	After  string         `json:"after,omitempty"` // sha-256 of the manifest of the backup it builds on
	Event  int64          `json:"event"`           // newest event in it
	Files  []manifestFile `json:"files"`
}

type manifestFile struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
	Here   bool   `json:"here"` // false: in the backup it builds on
}

// BackupReport tells what a backup holds.
type BackupReport struct {
	File    string `json:"file"`
	Files   int    `json:"files"`
	Written int    `json:"written"` // files in this backup; the others are in the one it builds on
	Bytes   int64  `json:"bytes"`   // of the backup file
	Event   int64  `json:"event"`
}

// Backup writes the whole book to one file while it is in use. The copy is of
// one moment: originals are never changed, the database is copied as of one
// transaction, and whatever that copy names was on the disk before it. after
// names an earlier backup to build on, "" for a whole one. The target appears
// when it is complete.
func (b *Book) Backup(ctx context.Context, target, after string, progress func(share float64)) (BackupReport, error) {
	rep := BackupReport{File: target}
	have := map[string]string{}
	m := manifest{Format: backupFormat, Made: b.now().UTC().Format(time.RFC3339)}
	var err error
	if m.Book, err = b.ID(); err != nil {
		return rep, b.ioError(err)
	}
	if after != "" {
		old, sum, err := readManifest(after)
		if err != nil {
			return rep, err
		}
		if old.Book != m.Book {
			return rep, &Error{Kind: ErrInvalid, File: after, Text: say.T("this is a backup of another book"), Mend: say.T("build on a backup of this book, or make a whole one")}
		}
		m.After = sum
		for _, f := range old.Files {
			if f.Name != "book.db" {
				have[f.Name] = f.SHA256
			}
		}
	}
	if _, err := b.fs.Stat(target); err == nil {
		return rep, &Error{Kind: ErrConflict, File: target, Text: say.T("there is a file of this name already"), Mend: say.T("name a new file; an old backup is not written over")}
	}
	if info, err := b.fs.Stat(filepath.Dir(target)); err != nil || !info.IsDir() {
		return rep, &Error{Kind: ErrInvalid, File: target, Text: say.T("there is no folder {target}", filepath.Dir(target)), Mend: say.T("make it, or name another")}
	}
	// The database first: every file it names is on the disk already.
	db := b.tmpName() + ".db"
	if b.readOnly {
		f, err := os.MkdirTemp("", "cornerwright-backup-")
		if err != nil {
			return rep, b.ioError(err)
		}
		defer os.RemoveAll(f)
		db = filepath.Join(f, "book.db")
	}
	defer os.Remove(db)
	if err := b.fs.Point("backup"); err != nil {
		return rep, b.ioError(err)
	}
	if _, err := b.w.ExecContext(ctx, `VACUUM INTO ?`, db); err != nil {
		return rep, b.ioError(err)
	}
	snap, err := openSnapshot(db)
	if err != nil {
		return rep, b.ioError(err)
	}
	defer snap.close()
	if m.Event, err = snap.lastEvent(); err != nil {
		return rep, b.ioError(err)
	}
	rep.Event = m.Event
	names, err := snap.files()
	if err != nil {
		return rep, b.ioError(err)
	}
	snap.close()

	tmp := target + ".part"
	b.fs.Remove(tmp)
	out, err := b.fs.Create(tmp)
	if err != nil {
		return rep, b.ioError(err)
	}
	done := false
	defer func() {
		if !done {
			out.Close()
			b.fs.Remove(tmp)
		}
	}()
	z := zip.NewWriter(out)
	put := func(name, from string, optional bool) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		f, err := b.fs.Open(from)
		if err != nil {
			if optional {
				return nil
			}
			return &Error{Kind: ErrDamaged, File: from, Text: say.T("a file of the book is gone"), Err: err, Mend: say.T("run: cornerwright verify")}
		}
		defer f.Close()
		w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store, Modified: b.now()})
		if err != nil {
			return err
		}
		h := sha256.New()
		n, err := io.Copy(io.MultiWriter(w, h), f)
		if err != nil {
			return err
		}
		m.Files = append(m.Files, manifestFile{name, n, hex.EncodeToString(h.Sum(nil)), true})
		rep.Written++
		return nil
	}
	if err := put("book.db", db, false); err != nil {
		return rep, b.ioError(err)
	}
	for i, name := range names {
		if progress != nil {
			progress(float64(i) / float64(len(names)))
		}
		if sum, ok := have[name]; ok {
			info, err := b.fs.Stat(filepath.Join(b.dir, filepath.FromSlash(name)))
			if err != nil {
				return rep, b.ioError(err)
			}
			m.Files = append(m.Files, manifestFile{name, info.Size(), sum, false})
			continue
		}
		if err := put(name, filepath.Join(b.dir, filepath.FromSlash(name)), strings.HasPrefix(name, "runs/")); err != nil {
			return rep, b.ioError(err)
		}
	}
	list, err := json.MarshalIndent(m, "", " ")
	if err != nil {
		return rep, err
	}
	w, err := z.Create("manifest.json")
	if err == nil {
		_, err = w.Write(list)
	}
	if err == nil {
		err = z.Close()
	}
	if err == nil {
		err = out.Sync()
	}
	if cerr := out.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = b.fs.Rename(tmp, target)
	}
	if err == nil {
		err = b.fs.SyncDir(filepath.Dir(target))
	}
	if err != nil {
		return rep, b.ioError(err)
	}
	done = true
	rep.Files = len(m.Files)
	if info, err := b.fs.Stat(target); err == nil {
		rep.Bytes = info.Size()
	}
	return rep, nil
}

// readManifest reads the list of a backup, and the sum of that list.
func readManifest(file string) (manifest, string, error) {
	var m manifest
	z, err := zip.OpenReader(file)
	if errors.Is(err, fs.ErrNotExist) {
		return m, "", &Error{Kind: ErrInvalid, File: file, Text: say.T("there is no such file"), Mend: say.T("check the name, and whether the stick is still in")}
	}
	if err != nil {
		return m, "", &Error{Kind: ErrInvalid, File: file, Text: say.T("this is not a backup, or it is cut off"), Err: err, Mend: say.T("name a file that 'cornerwright backup' has written")}
	}
	defer z.Close()
	return manifestOf(&z.Reader, file)
}

func manifestOf(z *zip.Reader, file string) (manifest, string, error) {
	var m manifest
	f, err := z.Open("manifest.json")
	if err != nil {
		return m, "", &Error{Kind: ErrInvalid, File: file, Text: say.T("this is not a backup: it holds no manifest.json"), Mend: say.T("name a file that 'cornerwright backup' has written")}
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, 256<<20))
	if err == nil {
		err = json.Unmarshal(data, &m)
	}
	if err != nil || m.Format != backupFormat {
		return m, "", &Error{Kind: ErrInvalid, File: file, Text: say.T("the backup's list cannot be read (format {format}, expected {backupformat})", fmt.Sprintf("%q", m.Format), fmt.Sprintf("%q", backupFormat)), Err: err, Mend: say.T("use the program that has written it, or a newer one")}
	}
	sum := sha256.Sum256(data)
	return m, hex.EncodeToString(sum[:]), nil
}

// Restore makes a book in dir from a backup. For an incremental backup the ones
// it builds on are named too, in any order. Every file is checked against the
// list before the folder becomes a book; nothing of an existing book is touched.
func Restore(ctx context.Context, dir string, files []string, opts ...Option) error {
	type archive struct {
		z    *zip.ReadCloser
		m    manifest
		sum  string
		file string
	}
	bySum := map[string]*archive{}
	var newest *archive
	for _, file := range files {
		z, err := zip.OpenReader(file)
		if err != nil {
			return &Error{Kind: ErrInvalid, File: file, Text: say.T("this is not a backup, or it is cut off"), Err: err, Mend: say.T("name a file that 'cornerwright backup' has written")}
		}
		defer z.Close()
		m, sum, err := manifestOf(&z.Reader, file)
		if err != nil {
			return err
		}
		x := &archive{z, m, sum, file}
		bySum[sum] = x
		if newest == nil || m.Event > newest.m.Event || m.Event == newest.m.Event && m.After != "" {
			newest = x
		}
	}
	if newest == nil {
		return invalid(say.T("no backup is named"), say.T("cornerwright restore FILE --book DIR"))
	}
	// Every file by content: a name may be in several backups.
	entries := map[string]*zip.File{}
	chain := map[string]bool{}
	for x := newest; ; {
		chain[x.sum] = true
		for _, f := range x.m.Files {
			if !f.Here {
				continue
			}
			for _, e := range x.z.File {
				if e.Name == f.Name {
					if _, ok := entries[f.Name+f.SHA256]; !ok {
						entries[f.Name+f.SHA256] = e
					}
				}
			}
		}
		if x.m.After == "" {
			break
		}
		next := bySum[x.m.After]
		if next == nil || chain[next.sum] {
			return &Error{Kind: ErrInvalid, File: x.file, Text: say.T("this backup builds on an earlier one that is not named"), Mend: say.T("name that one too: cornerwright restore FILE EARLIER --book DIR")}
		}
		x = next
	}
	b, err := newBook(dir, opts)
	if err != nil {
		return err
	}
	defer b.Close()
	if es, err := b.fs.ReadDir(b.dir); err == nil {
		for _, e := range es {
			if e.Name() != "lock" && e.Name() != "tmp" {
				return &Error{Kind: ErrConflict, File: dir, Text: say.T("the folder is not empty"), Mend: say.T("restore into a new folder; compare, then rename")}
			}
		}
	}
	if err := b.fs.MkdirAll(filepath.Join(b.dir, "tmp")); err != nil {
		return b.ioError(err)
	}
	if err := b.takeLock(); err != nil {
		return err
	}
	put := func(f manifestFile, to string) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		e := entries[f.Name+f.SHA256]
		if e == nil {
			return &Error{Kind: ErrInvalid, File: newest.file, Text: say.T("the backup lacks {name}", f.Name), Mend: say.T("use another backup")}
		}
		r, err := e.Open()
		if err != nil {
			return &Error{Kind: ErrInvalid, File: newest.file, Text: say.T("{name} cannot be read", f.Name), Err: err, Mend: say.T("use another backup")}
		}
		defer r.Close()
		return b.writeFile(to, func(w io.Writer) error {
			h := sha256.New()
			n, err := io.Copy(io.MultiWriter(w, h), io.LimitReader(r, f.Bytes+1))
			if err != nil {
				return err
			}
			if got := hex.EncodeToString(h.Sum(nil)); n != f.Bytes || got != f.SHA256 {
				return &Error{Kind: ErrInvalid, File: newest.file, Text: say.T("{name} is damaged in the backup", f.Name), Mend: say.T("use another backup")}
			}
			return nil
		})
	}
	var db *manifestFile
	sort.Slice(newest.m.Files, func(i, j int) bool { return newest.m.Files[i].Name < newest.m.Files[j].Name })
	for i := range newest.m.Files {
		f := newest.m.Files[i]
		if f.Name == "book.db" {
			db = &newest.m.Files[i]
			continue
		}
		clean := path.Clean(f.Name)
		if clean != f.Name || !filepath.IsLocal(filepath.FromSlash(f.Name)) || !(strings.HasPrefix(f.Name, "originals/") || strings.HasPrefix(f.Name, "runs/")) {
			return &Error{Kind: ErrInvalid, File: newest.file, Text: say.T("the backup names a file outside a book: {name}", fmt.Sprintf("%q", f.Name)), Mend: say.T("do not use this file; it was not written by this program")}
		}
		if err := put(f, filepath.Join(b.dir, filepath.FromSlash(f.Name))); err != nil {
			return b.ioError(err)
		}
	}
	if db == nil {
		return &Error{Kind: ErrInvalid, File: newest.file, Text: say.T("the backup holds no book.db"), Mend: say.T("use another backup")}
	}
	// The database last: until it is there the folder is no book.
	if err := put(*db, b.dbPath()); err != nil {
		return b.ioError(err)
	}
	if err := b.openDB(b.dbPath(), false); err != nil {
		return openError(dir, err)
	}
	return nil
}
