package book

import (
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"reflect"
	"sync"

	"github.com/parquet-go/parquet-go"

	"cornerwright/internal/circuit"
	"cornerwright/internal/intake/columnfile"
	"cornerwright/internal/ride"
	"cornerwright/internal/signal"
)

// A run's ride file holds its analysis with every series, so that a debrief, a
// page or a rehearsal reads in a moment what took seconds to compute. It is
// made anew wherever it is missing, damaged or of another method, circuit line
// or bike file; nothing depends on it but time.
//
// Series are kept as decimals of a fixed number of places, far below what any
// of them is known to. A ride in memory is rounded the same way when it leaves
// the analysis, so that a run gives the same numbers to the last digit whether
// it was computed a moment ago or read back.

const rideKeyName = "cornerwright.ride"

// places are the decimals of each series; those not listed are kept whole.
var places = map[string]int{
	"Position.Time": 9, "Position.S": 5, "Position.SSE": 5, "Position.Offset": 5, "Position.OffsetSE": 5, // s, m
	"Position.Speed": 5, "Position.SpeedSE": 5, "Position.Heading": 6, "Position.HeadingSE": 6, "Position.Kappa": 8, // m/s, rad, 1/m
	"Signals.Lean": 6, "Signals.LeanSE": 6, "Signals.Accel": 5, "Signals.RearSlip": 6, "Signals.FrontSlip": 6, // rad, m/s2, 1
	"Signals.RPM": 2, "Signals.Grip": 5, "Signals.Throttle": 5, "Signals.Cut": 5, "Signals.Clutch": 5, // 1/min, 1
	"Signals.FrontBrake": 0, "Signals.RearBrake": 0, "Signals.Force": 2, "Signals.Fork": 6, "Signals.Shock": 6, // Pa, N, m
	"Speed": 5, // m/s
}

// series is one series of a ride: exactly one of the three is set.
type series struct {
	name  string
	float *[]float64
	small *[]int8
	flag  *[]bool
}

// seriesOf lists the series of a ride, by name; speed stands for Ride.Speed.
func seriesOf(p *circuit.Position, s *ride.Signals, speed *[]float64) []series {
	var out []series
	walk := func(room string, v reflect.Value) {
		for i := range v.NumField() {
			f := series{name: room + "." + v.Type().Field(i).Name}
			switch x := v.Field(i).Addr().Interface().(type) {
			case *[]float64:
				f.float = x
			case *[]int8:
				f.small = x
			case *[]bool:
				f.flag = x
			default:
				continue
			}
			out = append(out, f)
		}
	}
	walk("Position", reflect.ValueOf(p).Elem())
	walk("Signals", reflect.ValueOf(s).Elem())
	return append(out, series{name: "Speed", float: speed})
}

// rounds tells whether a series can be kept with its places.
func rounds(v []float64, p float64) bool {
	limit := columnfile.MaxInteger / p
	for _, x := range v {
		if x >= limit || x <= -limit {
			return false
		}
	}
	return true
}

// settle rounds a ride's series in place as a ride file keeps them.
func settle(x *ride.Ride) {
	if x.Position == nil {
		return
	}
	speed := x.Speed()
	done := map[*float64]bool{} // series may share their samples
	var each sync.WaitGroup
	for _, s := range seriesOf(x.Position, &x.Signals, &speed) {
		k, ok := places[s.name]
		if s.float == nil || len(*s.float) == 0 || !ok || done[&(*s.float)[0]] {
			continue
		}
		done[&(*s.float)[0]] = true
		each.Go(func() { roundTo(*s.float, math.Pow10(k)) })
	}
	each.Wait()
}

func roundTo(v []float64, p float64) {
	if rounds(v, p) {
		for i, y := range v {
			v[i] = signal.Nearest(float64(y*p))/p + 0
		}
	}
}

// rideMark names what a ride file rests on.
func rideMark(r Run, line int) string {
	return fmt.Sprintf("method %d, %s outing %d, line %d, bike file %d", method, r.Original, r.Outing, line, r.BikeFile)
}

func (b *Book) ridePath(r Run) string {
	return filepath.Join(filepath.Dir(b.columnPath(r.Meeting, r.Bike, r.ID)), "ride.parquet")
}

// writeRide writes a settled ride; mark, which is asked for last, names what it
// rests on.
func (b *Book) writeRide(w io.Writer, x *ride.Ride, mark func() (string, error)) error {
	if x.Position == nil || len(x.Position.Time) == 0 {
		return errors.New("the ride has no position")
	}
	rows := len(x.Position.Time)
	bare, pos := *x, *x.Position
	bare.Circuit, bare.Position = nil, &pos
	speed := x.Speed()
	all := seriesOf(&pos, &bare.Signals, &speed)
	var cols []columnfile.Column
	var data []any
	for _, s := range all {
		switch {
		case s.float != nil && len(*s.float) == rows:
			k, ok := places[s.name]
			cols = append(cols, columnfile.Column{Name: s.name, Scale: k, Float: !ok || !rounds(*s.float, math.Pow10(k))})
			data = append(data, *s.float)
			*s.float = nil
		case s.small != nil && len(*s.small) == rows:
			cols = append(cols, columnfile.Column{Name: s.name})
			data = append(data, *s.small)
			*s.small = nil
		case s.flag != nil && len(*s.flag) == rows:
			cols = append(cols, columnfile.Column{Name: s.name})
			data = append(data, *s.flag)
			*s.flag = nil
		default:
			// Of another length, or none: it goes with the document.
		}
	}
	doc, err := b.pack(&bare)
	if err != nil {
		return err
	}
	f := columnfile.NewWriter(w)
	var g columnfile.Group
	ints := make([]int64, min(rows, columnRows))
	for from := 0; from < rows; from += columnRows {
		n := min(columnRows, rows-from)
		g.Reset(n, len(cols))
		for k, c := range cols {
			m := ints[:n]
			switch v := data[k].(type) {
			case []float64:
				if c.Float {
					g.Floats(k, v[from:from+n])
					continue
				}
				p := math.Pow10(c.Scale)
				for i, y := range v[from : from+n] {
					if y != y {
						m[i] = columnfile.Blank
					} else {
						m[i] = int64(signal.Nearest(float64(y * p)))
					}
				}
			case []int8:
				for i, y := range v[from : from+n] {
					m[i] = int64(y)
				}
			case []bool:
				for i, y := range v[from : from+n] {
					m[i] = 0
					if y {
						m[i] = 1
					}
				}
			}
			if !g.Ints(k, m, 1) {
				return fmt.Errorf("series %s does not fit its places", c.Name)
			}
		}
		if err := f.Append(&g); err != nil {
			return err
		}
	}
	name, err := mark()
	if err != nil {
		return err
	}
	return f.Close(cols, map[string]string{rideKeyName: name, rideKeyName + ".rest": base64.StdEncoding.EncodeToString(doc)})
}

// readRide reads a ride file; an error means that it has to be computed.
func (b *Book) readRide(r Run, c *circuit.Circuit) (x *ride.Ride, err error) {
	defer func() {
		if p := recover(); p != nil { // the library, on damaged pages
			x, err = nil, fmt.Errorf("%v", p)
		}
	}()
	path := b.ridePath(r)
	file, err := b.fs.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	at, size, err := b.readerAt(file, path)
	if err != nil {
		return nil, err
	}
	f, err := parquet.OpenFile(at, size, parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true))
	if err != nil {
		return nil, err
	}
	if mark, _ := f.Lookup(rideKeyName); mark != rideMark(r, c.Version) {
		return nil, fmt.Errorf("the ride file rests on %q", mark)
	}
	rest, _ := f.Lookup(rideKeyName + ".rest")
	doc, err := base64.StdEncoding.DecodeString(rest)
	if err != nil {
		return nil, err
	}
	x = &ride.Ride{}
	if err := b.unpack(doc, x); err != nil {
		return nil, err
	}
	if x.Position == nil {
		return nil, errors.New("the ride file has no position")
	}
	x.Circuit = c
	var speed []float64
	by := map[string]series{}
	for _, s := range seriesOf(x.Position, &x.Signals, &speed) {
		by[s.name] = s
	}
	columns := f.Schema().Columns()
	failed := make([]error, len(columns))
	signal.Each(len(columns), func(i int) {
		name := columns[i][0]
		defer func() {
			if p := recover(); p != nil { // the library, on damaged pages
				failed[i] = fmt.Errorf("series %s: %v", name, p)
			}
		}()
		s, ok := by[name]
		if !ok {
			failed[i] = fmt.Errorf("series %s is not known", name)
		} else if err := readSeries(f, i, s); err != nil {
			failed[i] = fmt.Errorf("series %s: %w", name, err)
		}
	})
	for _, err := range failed {
		if err != nil {
			return nil, err
		}
	}
	x.SetSpeed(speed)
	return x, nil
}

// readSeries reads one column whole.
func readSeries(f *parquet.File, column int, s series) error {
	rows := int(f.NumRows())
	p := math.Pow10(places[s.name])
	var v []float64
	switch {
	case s.float != nil:
		v = make([]float64, rows)
		*s.float = v
	case s.small != nil:
		*s.small = make([]int8, rows)
	default:
		*s.flag = make([]bool, rows)
	}
	row := 0
	for _, g := range f.RowGroups() {
		pages := g.ColumnChunks()[column].Pages()
		for {
			page, err := pages.ReadPage()
			if err == io.EOF {
				break
			}
			if err != nil {
				pages.Close()
				return err
			}
			levels, data := page.DefinitionLevels(), page.Data()
			if row+len(levels) > rows {
				pages.Close()
				return errors.New("it has more rows than the file states")
			}
			next := 0
			switch {
			case s.float == nil:
				for i, m := range data.Int64() {
					if s.small != nil {
						(*s.small)[row+i] = int8(m)
					} else {
						(*s.flag)[row+i] = m != 0
					}
				}
			case f.Schema().Fields()[column].Type().Kind() == parquet.Double:
				d := data.Double()
				for i, l := range levels {
					v[row+i] = math.NaN()
					if l == 1 {
						v[row+i] = d[next]
						next++
					}
				}
			default:
				d := data.Int64()
				for i, l := range levels {
					v[row+i] = math.NaN()
					if l == 1 {
						v[row+i] = float64(d[next]) / p
						next++
					}
				}
			}
			row += len(levels)
			parquet.Release(page)
		}
		pages.Close()
	}
	if row != rows {
		return fmt.Errorf("%d rows of %d", row, rows)
	}
	return nil
}

// keepRide writes a run's ride file, aside and then in its place. It serves
// speed alone: where it cannot be written the ride is computed again.
func (b *Book) keepRide(r Run, line int, x *ride.Ride) {
	f := b.beginRide(x)
	f.sign(rideMark(r, line))
	f.place(b, r)
}

// rideFile is a ride file that is being written aside.
type rideFile struct {
	tmp     string
	mark    chan string
	signed  bool
	written chan error
}

var errDropped = errors.New("dropped")

// beginRide starts to write a ride file; sign and then place end it, or drop.
func (b *Book) beginRide(x *ride.Ride) *rideFile {
	out := &rideFile{tmp: b.tmpName(), mark: make(chan string, 1), written: make(chan error, 1)}
	go func() {
		f, err := b.fs.Create(out.tmp)
		if err == nil {
			err = b.writeRide(f, x, func() (string, error) {
				mark, ok := <-out.mark
				if !ok {
					return "", errDropped
				}
				return mark, nil
			})
			if cerr := f.Close(); err == nil {
				err = cerr
			}
		}
		out.written <- err
	}()
	return out
}

// sign tells what the ride rests on, once the numbers of that are given.
func (f *rideFile) sign(mark string) {
	f.mark <- mark
	f.signed = true
}

func (f *rideFile) place(b *Book, r Run) {
	err := <-f.written
	if err == nil {
		err = b.fs.Rename(f.tmp, b.ridePath(r))
	}
	if err != nil {
		b.fs.Remove(f.tmp)
	}
}

func (f *rideFile) drop(b *Book) {
	if !f.signed {
		close(f.mark)
	}
	<-f.written
	b.fs.Remove(f.tmp)
}
