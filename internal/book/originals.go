package book

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
	"path/filepath"
	"runtime"
	"strings"

	"github.com/klauspost/compress/zstd"

	"cornerwright/internal/say"
)

// Originals lie at originals/ab/abcdef....zst: zstd frames of the bytes whose
// sha-256 is the name. zstd keeps its own checksum as well.

func (b *Book) originalPath(hash string) string {
	return filepath.Join(b.dir, "originals", hash[:2], hash+".zst")
}

// storeOriginal puts the bytes away under their hash and returns the stored
// size. They are read and packed in a stream. On return they are on the disk and
// have been read back and compared.
func (b *Book) storeOriginal(hash string, r io.ReaderAt, size int64) (stored int64, err error) {
	path := b.originalPath(hash)
	if ok, err := exists(b.fs, path); err != nil {
		return 0, b.ioError(err)
	} else if ok {
		if _, n, err := b.verifyOriginal(hash); err == nil {
			return n, nil
		}
		// Damaged on the disk, and here are the right bytes: they replace it.
	}
	err = b.writeFile(path, func(w io.Writer) error {
		// The fastest level: on logger's text the slower ones save nothing.
		z, err := zstd.NewWriter(w, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1), zstd.WithWindowSize(1<<20))
		if err != nil {
			return err
		}
		// Not ReadFrom, which would hash nothing, and in a piece that stays in
		// the processor's cache.
		h := sha256.New()
		_, err = io.CopyBuffer(struct{ io.Writer }{io.MultiWriter(z, h)}, polite{io.NewSectionReader(r, 0, size)}, make([]byte, 128<<10))
		if cerr := z.Close(); err == nil {
			err = cerr
		}
		if err == nil && hex.EncodeToString(h.Sum(nil)) != hash {
			err = &Error{Kind: ErrInvalid, Text: say.T("the file changed while it was read"), Mend: say.T("copy it from the stick to this computer and add it again")}
		}
		return err
	})
	if err != nil {
		return 0, b.ioError(err)
	}
	// Read back: a fault of memory, packer or disk must not become the only copy.
	_, stored, err = b.verifyOriginal(hash)
	return stored, b.ioError(err)
}

// verifyOriginal reads an original and compares it with its name.
func (b *Book) verifyOriginal(hash string) (size, stored int64, err error) {
	r, err := b.Original(hash)
	if err != nil {
		return 0, 0, err
	}
	defer r.Close()
	h := sha256.New()
	size, err = io.CopyBuffer(struct{ io.Writer }{h}, polite{r}, make([]byte, 128<<10))
	if err != nil {
		return 0, 0, damaged(say.T("original {x} cannot be unpacked", hash[:12]), err)
	}
	if got := hex.EncodeToString(h.Sum(nil)); got != hash {
		return 0, 0, damaged(say.T("original {x} holds other bytes ({x2})", hash[:12], got[:12]), nil)
	}
	info, err := b.fs.Stat(b.originalPath(hash))
	if err != nil {
		return 0, 0, err
	}
	return size, info.Size(), nil
}

// polite is a reader that lets others have the processor between two pieces.
// Packing begins with the first moment and goes on all the time, but whoever
// waits for the analysis waits for the reading beside it, not for the packing.
type polite struct{ r io.Reader }

func (p polite) Read(b []byte) (int, error) {
	runtime.Gosched()
	return p.r.Read(b)
}

type unpacked struct {
	*zstd.Decoder
	f io.Closer
}

func (u unpacked) Close() error { u.Decoder.Close(); return u.f.Close() }

// Original opens the bytes of an original recording by its sha-256.
func (b *Book) Original(hash string) (io.ReadCloser, error) {
	if len(hash) != 64 || strings.Trim(hash, "0123456789abcdef") != "" {
		return nil, notFound(say.T("no original is named {hash}", hash), say.T("name it by its sha-256 in hex"))
	}
	f, err := b.fs.Open(b.originalPath(hash))
	if errors.Is(err, fs.ErrNotExist) {
		var known int
		if b.r.QueryRow(`SELECT count(*) FROM original WHERE hash = ?`, hash).Scan(&known) == nil && known == 0 {
			return nil, notFound(say.T("no original is named {hash}", hash), say.T("add the recording again"))
		}
		return nil, &Error{Kind: ErrDamaged, File: b.originalPath(hash), Text: say.T("the original is gone"), Mend: say.T("restore it from a backup, or add the file again")}
	}
	if err != nil {
		return nil, b.ioError(err)
	}
	d, err := zstd.NewReader(f, zstd.WithDecoderConcurrency(1))
	if err != nil {
		f.Close()
		return nil, err
	}
	return unpacked{d, f}, nil
}

// originalBytes reads an original whole and checks it.
func (b *Book) originalBytes(hash string) ([]byte, error) {
	r, err := b.Original(hash)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	var buf bytes.Buffer
	if _, err := buf.ReadFrom(r); err != nil {
		return nil, damaged(say.T("original {x} cannot be unpacked", hash[:12]), err)
	}
	if sum := sha256.Sum256(buf.Bytes()); hex.EncodeToString(sum[:]) != hash {
		return nil, damaged(say.T("original {x} holds other bytes than its name says", hash[:12]), nil)
	}
	return buf.Bytes(), nil
}

// storedOriginals lists the hashes of the files in originals/.
func (b *Book) storedOriginals() ([]string, error) {
	root := filepath.Join(b.dir, "originals")
	dirs, err := b.fs.ReadDir(root)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, d := range dirs {
		if !d.IsDir() {
			continue
		}
		files, err := b.fs.ReadDir(filepath.Join(root, d.Name()))
		if err != nil {
			return nil, err
		}
		for _, f := range files {
			if h, ok := strings.CutSuffix(f.Name(), ".zst"); ok && len(h) == 64 && h[:2] == d.Name() {
				out = append(out, h)
			}
		}
	}
	return out, nil
}
