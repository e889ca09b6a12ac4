// Package intake turns what loggers, phones and buses write into recordings:
// bytes in, recording out. It finds the format from the content, maps columns
// to channels, converts units to SI, puts clocks and lying units right where
// that is beyond doubt, and says everything it did and everything that is
// wrong. It opens no file; the caller hands it bytes.
package intake

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"runtime"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// Options steer a read. The zero value is the common case.
type Options struct {
	Map      *ColumnMap     // overrides, nil for none
	Database []byte         // signal database (DBC) for CAN logs
	Progress func(Progress) // called now and then, from the reading goroutine
	Workers  int            // goroutines; 0 is one per processor, at most 4
	NoHealth bool           // leave out the health marks (they cost a pass over the data)
	Hash     string         // sha-256 of the input in hex, where the caller has it; else it is computed

	sized bool // the size is the input's own, not a bound on what a compressed one may hold
}

// workers is how many goroutines may work at once.
func (o *Options) workers() int {
	if o.Workers > 0 {
		return o.Workers
	}
	return min(4, runtime.GOMAXPROCS(0))
}

// Progress tells how far a read has come.
type Progress struct {
	Bytes, Total int64
	Rows         int
}

// ColumnInfo says what became of one column of the file.
type ColumnInfo struct {
	Cell         string   // the header cell as it stands
	Header       string   // name without its unit
	Index        int      // from 1
	Unit         string   // unit used, as text; "" for none
	Stated       bool     // the file (or the map) states the unit; otherwise it was inferred
	Channel      string   // canonical or own name; "" if the column is left out
	Why          say.Text // how the decision came about
	Alternatives []string // other channels it may be
	Samples      int
	Scale        float64 // of the column map; 0 for none
	Offset       float64 // likewise
	Invert       bool    // the sign is turned round, by the map or by the turns

	misfit string // channel that its name means but its unit forbids
}

// Result is what a read yields.
type Result struct {
	Recordings []*recording.Recording // one, or several from an archive
	Format     string                 // "text table", "NMEA 0183", ...
	Columns    []ColumnInfo           // of the first recording
	Map        string                 // column map in TOML, ready to edit
	Problems   []recording.Problem    // of all recordings
	Rows       int
	LostRows   int
	LostBytes  int64

	sources []*source // what the recordings were built from, for WriteColumns
}

// Forget drops the raw values that WriteColumns needs, for the memory they take;
// the recordings stay.
func (res *Result) Forget() { res.sources = nil }

// Read reads one input held in memory. name is for messages and decides
// nothing. An error is of type *Error; what can be read in spite of damage is
// read, and the damage is among the problems.
func Read(name string, data []byte, opts Options) (*Result, error) {
	return ReadFrom(name, bytes.NewReader(data), int64(len(data)), opts)
}

// ReadFrom is Read for input that need not be in memory.
func ReadFrom(name string, r io.ReaderAt, size int64, opts Options) (*Result, error) {
	if size == 0 {
		return nil, &Error{File: name, Text: say.T("the file is empty (0 bytes)"), Mend: say.T("copy the recording from the logger again")}
	}
	sum := opts.Hash
	if sum == "" {
		h := sha256.New()
		if _, err := io.Copy(h, io.NewSectionReader(r, 0, size)); err != nil {
			return nil, &Error{File: name, Text: say.T("cannot be read: {why}", err), Mend: say.T("copy the file from the stick again")}
		}
		sum = hex.EncodeToString(h.Sum(nil))
	}
	res, err := open(name, r, size, opts, 0)
	if err != nil {
		return nil, err
	}
	for i, rec := range res.Recordings {
		rec.Hash = sum
		if i > 0 {
			rec.Hash = fmt.Sprintf("%s-%d", sum, i)
		}
	}
	return res, nil
}

// add appends what another read yields (archives).
func (res *Result) add(o *Result) {
	if len(res.Recordings) == 0 {
		res.Columns, res.Map, res.Format = o.Columns, o.Map, o.Format
	}
	res.Recordings = append(res.Recordings, o.Recordings...)
	res.Problems = append(res.Problems, o.Problems...)
	res.sources = append(res.sources, o.sources...)
	res.Rows += o.Rows
	res.LostRows += o.LostRows
	res.LostBytes += o.LostBytes
}
