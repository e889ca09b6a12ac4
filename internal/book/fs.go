package book

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
)

// FS is what the book asks of a file system besides what SQLite does itself.
// The real one is OS; tests put one in its place that fails, fills up or dies
// at a chosen step. Paths are those of the operating system.
type FS interface {
	// Create makes a new file; it fails where the name is taken.
	Create(path string) (File, error)
	Open(path string) (io.ReadCloser, error)
	// Rename replaces the target, as POSIX has it.
	Rename(from, to string) error
	Remove(path string) error
	RemoveAll(path string) error
	MkdirAll(path string) error
	// SyncDir makes the names in a folder last over a power cut.
	SyncDir(path string) error
	Stat(path string) (fs.FileInfo, error)
	ReadDir(path string) ([]fs.DirEntry, error)
	// Point is called at the steps that are not of the file system: before and
	// after the database commits. An error stops the work there.
	Point(name string) error
}

// File is a file being written.
type File interface {
	io.Writer
	io.Closer
	Sync() error
}

// OS is the real file system.
type OS struct{}

func (OS) Create(path string) (File, error) {
	return os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o644)
}
func (OS) Open(path string) (io.ReadCloser, error)    { return os.Open(path) }
func (OS) Rename(from, to string) error               { return os.Rename(from, to) }
func (OS) Remove(path string) error                   { return os.Remove(path) }
func (OS) RemoveAll(path string) error                { return os.RemoveAll(path) }
func (OS) MkdirAll(path string) error                 { return os.MkdirAll(path, 0o755) }
func (OS) Stat(path string) (fs.FileInfo, error)      { return os.Stat(path) }
func (OS) ReadDir(path string) ([]fs.DirEntry, error) { return os.ReadDir(path) }
func (OS) Point(string) error                         { return nil }

func (OS) SyncDir(path string) error {
	if runtime.GOOS == "windows" {
		return nil // a folder cannot be flushed there; NTFS journals its names
	}
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	err = d.Sync()
	if cerr := d.Close(); err == nil {
		err = cerr
	}
	return err
}

// writeFile writes aside, syncs, renames and syncs the folder: afterwards the
// file is there whole, or not at all.
func (b *Book) writeFile(path string, write func(io.Writer) error) error {
	tmp := b.tmpName()
	f, err := b.fs.Create(tmp)
	if err != nil {
		return err
	}
	err = write(f)
	if err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = b.place(tmp, path)
	}
	if err != nil {
		b.fs.Remove(tmp)
	}
	return err
}

// place renames a synced file of tmp/ to its name, making its folders.
func (b *Book) place(tmp, path string) error {
	dir := filepath.Dir(path)
	if err := b.fs.MkdirAll(dir); err != nil {
		return err
	}
	if err := b.fs.Rename(tmp, path); err != nil {
		return err
	}
	// The folder and those above it, up to the book: each may be new.
	for d := dir; ; d = filepath.Dir(d) {
		if err := b.fs.SyncDir(d); err != nil {
			return err
		}
		if d == b.dir || len(d) <= len(b.dir) {
			return nil
		}
	}
}

func exists(f FS, path string) (bool, error) {
	_, err := f.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	return err == nil, err
}
