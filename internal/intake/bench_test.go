package intake_test

import (
	"bytes"
	"encoding/csv"
	"io"
	"runtime"
	"strconv"
	"sync"
	"testing"

	"cornerwright/internal/intake"
	"cornerwright/internal/proving"
)

// bigTable is the hour of the figures: 360,000 rows of 34 columns at 100 1/s.
var bigTable = sync.OnceValue(func() []byte {
	var b bytes.Buffer
	b.Grow(90 << 20)
	if err := proving.Table(&b, 360_000, proving.TableColumns); err != nil {
		panic(err)
	}
	return b.Bytes()
})

// report adds what the figures name: a value's cost.
func report(b *testing.B, text []byte, values int) {
	b.SetBytes(int64(len(text)))
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(values), "ns/value")
}

// Text to float64 columns in memory, nothing interpreted.
func BenchmarkTextToColumns(b *testing.B) {
	text := bigTable()
	b.ReportAllocs()
	for b.Loop() {
		n, err := intake.Columns("hour.csv", bytes.NewReader(text), int64(len(text)), intake.Options{})
		if err != nil || n != 360_000*34 {
			b.Fatal(n, err)
		}
	}
	report(b, text, 360_000*34)
}

// Text to a recording: channels in SI, physics and health looked at.
func BenchmarkTextToRecording(b *testing.B) {
	text := bigTable()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := intake.Read("hour.csv", text, intake.Options{}); err != nil {
			b.Fatal(err)
		}
	}
	report(b, text, 360_000*34)
}

// Text to a Parquet file, nothing interpreted.
func BenchmarkTextToParquet(b *testing.B) {
	text := bigTable()
	stored := 0
	b.ReportAllocs()
	for b.Loop() {
		n := &counter{}
		if _, err := intake.Import("hour.csv", bytes.NewReader(text), int64(len(text)), func() (io.Writer, error) { n.n = 0; return n, nil }, intake.Options{}); err != nil {
			b.Fatal(err)
		}
		stored = n.n
	}
	report(b, text, 360_000*34)
	b.ReportMetric(100*float64(stored)/float64(len(text)), "%stored")
}

func table(w io.Writer, rows int) error { return proving.Table(w, rows, proving.TableColumns) }

type counter struct{ n int }

func (c *counter) Write(p []byte) (int, error) { c.n += len(p); return len(p), nil }

// The plain way, to compare with: encoding/csv and strconv, one goroutine.
func BenchmarkStandardLibrary(b *testing.B) {
	text := bigTable()
	for b.Loop() {
		r := csv.NewReader(bytes.NewReader(text))
		r.ReuseRecord = true
		r.Read()
		cols := make([][]float64, 34)
		for {
			rec, err := r.Read()
			if err == io.EOF {
				break
			}
			if err != nil {
				b.Fatal(err)
			}
			for i, f := range rec {
				v, err := strconv.ParseFloat(f, 64)
				if err != nil {
					b.Fatal(err)
				}
				cols[i] = append(cols[i], v)
			}
		}
		runtime.KeepAlive(cols)
	}
	report(b, text, 360_000*34)
}
