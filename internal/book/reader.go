package book

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"os"

	"cornerwright/internal/circuit"
	"cornerwright/internal/intake"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// input is a file to be read, from the disk or from memory. It is read in
// pieces, never whole.
type input struct {
	io.ReaderAt
	size  int64
	hash  string // sha-256 in hex
	close func() error
}

// openInput opens a file that a user named, or data where it is not nil, and
// finds its hash.
func openInput(path string, data []byte) (*input, error) {
	bad := func(text, mend say.Text, err error) (*input, error) {
		return nil, &Error{Kind: ErrInvalid, File: path, Text: text, Err: err, Mend: mend}
	}
	in := &input{ReaderAt: bytes.NewReader(data), size: int64(len(data)), close: func() error { return nil }}
	if data == nil {
		info, err := os.Stat(path)
		switch {
		case errors.Is(err, os.ErrNotExist):
			return bad(say.T("there is no such file"), say.T("check the name, and whether the stick is still in"), nil)
		case err != nil:
			return bad(say.T("the file cannot be read"), say.T("check the stick and the permissions"), err)
		case info.IsDir():
			return bad(say.T("this is a folder"), say.T("name the files in it, or give the folder to: cornerwright add"), nil)
		case info.Size() > maxOriginal:
			return bad(say.T("the file has {mb} MB, more than a recording can have", info.Size()>>20), say.T("give the recording itself"), nil)
		}
		f, err := os.Open(path)
		if err != nil {
			return bad(say.T("the file cannot be read"), say.T("check the stick and the permissions"), err)
		}
		in.ReaderAt, in.size, in.close = f, info.Size(), f.Close
	}
	h := sha256.New()
	if _, err := io.CopyBuffer(struct{ io.Writer }{h}, struct{ io.Reader }{io.NewSectionReader(in, 0, in.size)}, make([]byte, 128<<10)); err != nil {
		in.close()
		return bad(say.T("the file cannot be read to its end"), say.T("copy it from the stick again"), err)
	}
	in.hash = hex.EncodeToString(h.Sum(nil))
	return in, nil
}

// readFile reads an input with a column map (nil for none). Where nothing can be
// used the error is one of the book's, with the place and the mend.
func readFile(name string, in *input, mapName string, m []byte, progress func(intake.Progress)) (*intake.Result, error) {
	opt := intake.Options{Hash: in.hash, Progress: progress}
	if len(m) > 0 {
		cm, err := intake.ParseColumnMap(mapName, m)
		if err != nil {
			return nil, Invalid(err)
		}
		opt.Map = cm
	}
	res, err := intake.ReadFrom(name, in, in.size, opt)
	if err != nil {
		return res, Invalid(err)
	}
	if len(res.Recordings) == 0 {
		return res, &Error{Kind: ErrInvalid, File: name, Text: say.T("the file holds no recording"), Mend: say.T("give the file that the logger wrote")}
	}
	return res, nil
}

// Invalid is what a reader says of its input, as an error of the book with its
// place; nil for nil.
func Invalid(err error) error {
	if err == nil {
		return nil
	}
	var e *intake.Error
	if errors.As(err, &e) {
		return &Error{Kind: ErrInvalid, File: e.File, Line: e.Line, Column: e.Column, Text: e.Text, Source: e.Source, Mend: e.Mend}
	}
	return &Error{Kind: ErrInvalid, Err: err}
}

// outingsOf cuts what a file holds into outings, in their order in the file; of
// tells which of the file's recordings each is a part of.
func outingsOf(res *intake.Result) (parts []*recording.Recording, of []int) {
	for i, rec := range res.Recordings {
		cut := circuit.SplitRuns(rec)
		if len(cut) == 0 {
			cut = []*recording.Recording{rec}
		}
		for _, p := range cut {
			parts, of = append(parts, p), append(of, i)
		}
	}
	return parts, of
}

// headOf is a short name for the columns of a file, under which a column map is
// remembered.
func headOf(res *intake.Result) string {
	s := res.Format
	for _, c := range res.Columns {
		s += "\x1f" + c.Cell
	}
	return s
}
