package book

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/klauspost/compress/zstd"
	_ "modernc.org/sqlite" // the driver "sqlite"

	"cornerwright/internal/say"
)

var errBusy = errors.New("busy")

// Book is an open book. All methods may be called from many goroutines at once.
type Book struct {
	dir      string
	fs       FS
	db       fs.FileInfo // book.db as it was opened
	lock     *os.File
	w, r     *sql.DB // one writing connection, several reading ones
	readOnly bool
	now      func() time.Time
	tmpN     atomic.Int64
	swept    []string

	enc *zstd.Encoder
	dec *zstd.Decoder

	adding sync.Mutex // one recording at a time learns circuits and numbers runs
	rides  rideCache
	plans  sync.Map // wish as text -> *plannedOnce
	ahead  atomic.Bool
	means  sync.Map // run and line -> byLap

	news struct {
		sync.Mutex
		subs map[chan int64]bool
		last int64
	}
}

// Option of Create and Open.
type Option func(*Book)

// WithFS puts another file system under the book.
func WithFS(f FS) Option { return func(b *Book) { b.fs = f } }

// ReadOnly opens the book for reading beside another process that has it.
// Results that are not stored yet are computed and not kept.
func ReadOnly() Option { return func(b *Book) { b.readOnly = true } }

func newBook(dir string, opts []Option) (*Book, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	b := &Book{dir: abs, fs: OS{}, now: time.Now}
	b.news.subs = map[chan int64]bool{}
	for _, o := range opts {
		o(b)
	}
	b.rides.size = 6
	b.enc, err = zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1), zstd.WithWindowSize(1<<20))
	if err != nil {
		return nil, err
	}
	b.dec, err = zstd.NewReader(nil, zstd.WithDecoderConcurrency(2), zstd.WithDecoderMaxMemory(1<<30))
	return b, err
}

// Create makes an empty book in dir, which may be absent or empty, and opens it.
func Create(dir string, opts ...Option) (*Book, error) {
	b, err := newBook(dir, opts)
	if err != nil {
		return nil, err
	}
	entries, err := b.fs.ReadDir(b.dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, &Error{Kind: ErrInvalid, File: dir, Text: say.T("the folder cannot be read"), Err: err, Mend: say.T("name a folder that you may write to")}
	}
	for _, e := range entries {
		switch e.Name() {
		case "book.db":
			return nil, &Error{Kind: ErrConflict, File: dir, Text: say.T("there is a book in this folder already"), Mend: say.T("use it with --book, or name another folder")}
		case "lock", "tmp", ".DS_Store":
		default:
			return nil, &Error{Kind: ErrConflict, File: dir, Text: say.T("the folder is not empty ({why})", e.Name()), Mend: say.T("name a new or empty folder")}
		}
	}
	for _, d := range []string{"", "originals", "runs", "tmp"} {
		if err := b.fs.MkdirAll(filepath.Join(b.dir, d)); err != nil {
			return nil, &Error{Kind: ErrInvalid, File: dir, Text: say.T("the folder cannot be made"), Err: err, Mend: say.T("name a folder that you may write to")}
		}
	}
	if err := b.takeLock(); err != nil {
		return nil, err
	}
	// The database is made aside and renamed, so that a folder holds a whole
	// book or none.
	tmp := filepath.Join(b.dir, "tmp", "new.db")
	b.fs.Remove(tmp)
	err = b.openDB(tmp, true)
	if err == nil {
		_, err = b.w.Exec(`INSERT INTO book VALUES ('id', ?), ('made', ?)`, uid(), b.now().UTC().Format(time.RFC3339))
	}
	if err == nil {
		_, err = b.w.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`)
	}
	b.closeDB()
	if err == nil {
		err = b.fs.Point("create")
	}
	if err == nil {
		err = b.place(tmp, b.dbPath())
	}
	if err == nil {
		err = b.openDB(b.dbPath(), false)
	}
	if err == nil {
		b.db, err = b.fs.Stat(b.dbPath())
	}
	if err != nil {
		b.Close()
		return nil, &Error{Kind: ErrDamaged, File: dir, Text: say.T("the book cannot be made"), Err: err, Mend: say.T("see that the disk is not full and the folder can be written")}
	}
	return b, nil
}

// Open opens the book in dir and locks it against other processes: ErrNotFound
// where there is none, ErrLocked where another process has it, ErrDamaged where
// it cannot be read.
func Open(dir string, opts ...Option) (*Book, error) {
	b, err := newBook(dir, opts)
	if err != nil {
		return nil, err
	}
	if _, err := b.fs.Stat(b.dbPath()); err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil, &Error{Kind: ErrNotFound, File: dir, Text: say.T("there is no book here (no book.db)"), Mend: say.T("make one: cornerwright new {dir}", dir)}
		}
		if info, ferr := b.fs.Stat(dir); ferr == nil && !info.IsDir() {
			return nil, &Error{Kind: ErrInvalid, File: dir, Text: say.T("this is a file; a book is a folder"), Mend: say.T("name the folder that holds book.db")}
		}
		return nil, &Error{Kind: ErrDamaged, File: dir, Text: say.T("the book cannot be read"), Err: err, Mend: say.T("see whether the disk or stick is still there")}
	}
	if !b.readOnly {
		if err := b.takeLock(); err != nil {
			return nil, err
		}
	}
	if err := b.openDB(b.dbPath(), false); err != nil {
		b.Close()
		return nil, openError(dir, err)
	}
	if !b.readOnly {
		if err := b.sweep(); err != nil {
			b.Close()
			return nil, openError(dir, err)
		}
	}
	last, err := b.LastEvent()
	if err == nil {
		b.db, err = b.fs.Stat(b.dbPath())
	}
	if err != nil {
		b.Close()
		return nil, openError(dir, err)
	}
	b.news.last = last
	return b, nil
}

func openError(dir string, err error) error {
	var be *Error
	if errors.As(err, &be) {
		return err
	}
	text := err.Error()
	switch {
	case strings.Contains(text, "readonly"), errors.Is(err, fs.ErrPermission), strings.Contains(text, "read-only"):
		return &Error{Kind: ErrDamaged, File: dir, Text: say.T("the book's folder cannot be written"), Err: err, Mend: say.T("take the write protection off, or copy the book to a disk that can be written")}
	case strings.Contains(text, "full"), strings.Contains(text, "no space"):
		return &Error{Kind: ErrDamaged, File: dir, Text: say.T("the disk is full"), Err: err, Mend: say.T("make room and open the book again; nothing is lost")}
	}
	return &Error{Kind: ErrDamaged, File: dir, Text: say.T("the book is damaged"), Err: err, Mend: say.T("run 'cornerwright verify', then restore the last backup into a new folder")}
}

func (b *Book) takeLock() error {
	f, err := os.OpenFile(filepath.Join(b.dir, "lock"), os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return openError(b.dir, err)
	}
	if err := lockFile(f); err != nil {
		who := make([]byte, 200)
		n, _ := f.ReadAt(who, 0)
		f.Close()
		if !errors.Is(err, errBusy) {
			return openError(b.dir, err)
		}
		by := say.T("another process has the book open")
		if s := strings.TrimSpace(string(who[:n])); s != "" {
			by = say.T("another process has the book open ({who})", s)
		}
		return &Error{Kind: ErrLocked, File: b.dir, Text: by, Mend: say.T("stop that one first, or do it on its page")}
	}
	f.Truncate(0)
	fmt.Fprintf(f, "process %d since %s\n", os.Getpid(), b.now().Format("2006-01-02 15:04:05"))
	b.lock = f
	return nil
}

// dsn names the database file at path to its driver, with what every connection is
// to be told first.
func dsn(path, mode string, extra ...string) string {
	always := []string{"busy_timeout(5000)", "foreign_keys(1)", "synchronous(FULL)", "fullfsync(1)"}
	v := url.Values{"_pragma": append(always, extra...), "_txlock": {"immediate"}}
	if mode != "" {
		v.Set("mode", mode)
	}
	// "file:" with an escaped path: a folder may hold ? or %.
	return "file:" + (&url.URL{Path: filepath.ToSlash(path)}).EscapedPath() + "?" + v.Encode()
}

// openDB opens the database and brings its schema up to date.
func (b *Book) openDB(path string, fresh bool) error {
	var err error
	if !b.readOnly {
		mode := "rw"
		if fresh {
			mode = "rwc"
		}
		// WAL comes after the application id is seen: a foreign database is left alone.
		if b.w, err = sql.Open("sqlite", dsn(path, mode)); err != nil {
			return err
		}
		b.w.SetMaxOpenConns(1)
		if err := b.migrate(fresh); err != nil {
			return err
		}
	}
	if b.r, err = sql.Open("sqlite", dsn(path, "", "query_only(1)")); err != nil {
		return err
	}
	b.r.SetMaxOpenConns(4)
	b.r.SetMaxIdleConns(4)
	if b.readOnly {
		b.w = b.r
	}
	return b.checkIdentity(b.r, false)
}

func (b *Book) checkIdentity(db *sql.DB, fresh bool) error {
	var app, version int
	if err := db.QueryRow(`PRAGMA application_id`).Scan(&app); err != nil {
		return err
	}
	if err := db.QueryRow(`PRAGMA user_version`).Scan(&version); err != nil {
		return err
	}
	if fresh {
		return nil
	}
	if app != applicationID {
		return &Error{Kind: ErrDamaged, File: b.dbPath(), Text: say.T("book.db is not a book (application id {app}, a book has {applicationid})", fmt.Sprintf("%#x", app), fmt.Sprintf("%#x", applicationID)), Mend: say.T("name the folder of a book")}
	}
	if version > len(migrations) {
		return &Error{Kind: ErrDamaged, File: b.dbPath(), Text: say.T("the book is of a newer version ({version}) than this program knows ({migrations})", version, len(migrations)), Mend: say.T("use the newer program")}
	}
	if b.readOnly && version < len(migrations) {
		return &Error{Kind: ErrDamaged, File: b.dbPath(), Text: say.T("the book is of an earlier version ({version}, this program has {migrations}) and cannot be brought up to date while it is only read", version, len(migrations)), Mend: say.T("open it once for writing: cornerwright runs --book DIR")}
	}
	return nil
}

func (b *Book) migrate(fresh bool) error {
	if err := b.checkIdentity(b.w, fresh); err != nil {
		return err
	}
	if _, err := b.w.Exec(`PRAGMA journal_mode = WAL`); err != nil {
		return err
	}
	var version int
	if err := b.w.QueryRow(`PRAGMA user_version`).Scan(&version); err != nil {
		return err
	}
	for ; version < len(migrations); version++ {
		tx, err := b.w.Begin()
		if err != nil {
			return err
		}
		for _, s := range []string{migrations[version],
			fmt.Sprintf(`PRAGMA application_id = %d`, applicationID),
			fmt.Sprintf(`PRAGMA user_version = %d`, version+1)} {
			if _, err := tx.Exec(s); err != nil {
				tx.Rollback()
				return fmt.Errorf("migration %d: %w", version+1, err)
			}
		}
		if err := tx.Commit(); err != nil {
			return err
		}
	}
	return nil
}

func (b *Book) closeDB() error {
	var err error
	if b.r != nil {
		err = b.r.Close()
	}
	if b.w != nil && b.w != b.r {
		if werr := b.w.Close(); err == nil {
			err = werr
		}
	}
	b.r, b.w = nil, nil
	return err
}

// Close releases the lock. The book must not be used afterwards.
func (b *Book) Close() error {
	err := b.closeDB()
	if b.lock != nil {
		b.lock.Close()
		b.lock = nil
	}
	b.news.Lock()
	for c := range b.news.subs {
		close(c)
	}
	b.news.subs = map[chan int64]bool{}
	b.news.Unlock()
	if b.dec != nil {
		b.dec.Close()
		b.dec = nil
	}
	return err
}

// Dir is the folder of the book.
func (b *Book) Dir() string { return b.dir }

// ID is the book's own random name.
func (b *Book) ID() (string, error) {
	var id string
	err := b.r.QueryRow(`SELECT value FROM book WHERE key = 'id'`).Scan(&id)
	return id, err
}

// Swept tells which leftovers of an interrupted write Open found and what it
// did with them, in words.
func (b *Book) Swept() []string { return b.swept }

func (b *Book) dbPath() string { return filepath.Join(b.dir, "book.db") }

func (b *Book) tmpName() string {
	return filepath.Join(b.dir, "tmp", fmt.Sprintf("%d-%d", os.Getpid(), b.tmpN.Add(1)))
}
