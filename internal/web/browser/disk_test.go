package browser

import (
	"io/fs"
	"os"
	"path/filepath"
	"sync/atomic"
	"syscall"
	"testing"

	"cornerwright/internal/book"
)

// cramped is a book with a bike on a disk that is full, and how to make room on
// it: a small disk in memory where this user may mount one, else a file system
// that answers as a full disk does.
func cramped(t *testing.T) (b *book.Book, makeRoom func()) {
	t.Helper()
	dir := t.TempDir()
	fresh := func(dir string, opts ...book.Option) *book.Book {
		t.Helper()
		b, err := book.Create(dir, opts...)
		if err != nil {
			t.Fatal(err)
		}
		addBike(t, b)
		return b
	}
	if unmount, err := mountSmall(dir, 64<<20); err == nil {
		b := fresh(filepath.Join(dir, "book"))
		t.Cleanup(func() {
			if err := b.Close(); err != nil {
				t.Error(err)
			}
			if err := unmount(); err != nil {
				t.Error(err)
			}
		})
		fill := filepath.Join(dir, "holiday.mov")
		f, err := os.Create(fill)
		if err != nil {
			t.Fatal(err)
		}
		for buf := make([]byte, 64<<10); err == nil; {
			_, err = f.Write(buf)
		}
		f.Close()
		t.Logf("on a real full disk: %v", err)
		return b, func() {
			if err := os.Remove(fill); err != nil {
				t.Fatal(err)
			}
		}
	}
	disk := &fullFS{}
	b = fresh(filepath.Join(dir, "book"), book.WithFS(disk))
	t.Cleanup(func() { b.Close() })
	disk.full.Store(true)
	t.Log("this user may mount nothing: on a file system that answers as a full disk")
	return b, func() { disk.full.Store(false) }
}

// fullFS refuses every byte while it is full.
type fullFS struct {
	book.OS
	full atomic.Bool
}

type fullFile struct {
	book.File
	fs *fullFS
}

func (d *fullFS) Create(path string) (book.File, error) {
	f, err := d.OS.Create(path)
	if err != nil {
		return nil, err
	}
	return fullFile{f, d}, nil
}

func (f fullFile) Write(p []byte) (int, error) {
	if f.fs.full.Load() {
		return 0, &fs.PathError{Op: "write", Path: "disk", Err: syscall.ENOSPC}
	}
	return f.File.Write(p)
}
