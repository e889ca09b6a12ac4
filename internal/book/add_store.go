package book

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

var slugRun = regexp.MustCompile(`[^a-z0-9]+`)

// slug is a name as a folder: lower-case letters, digits and hyphens. Letters
// outside ASCII are kept by their code, so that names stay apart.
func slug(s string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(s) {
		if r > unicode.MaxASCII && unicode.IsLetter(r) {
			fmt.Fprintf(&b, "u%x", r)
		} else {
			b.WriteRune(r)
		}
	}
	out := strings.Trim(slugRun.ReplaceAllString(b.String(), "-"), "-")
	if out == "" {
		out = "x"
	}
	return out
}

func (w *adding) day(rec *recording.Recording) string {
	if w.req.Day != "" {
		return w.req.Day
	}
	if !rec.Epoch.IsZero() {
		return rec.Epoch.Format("2006-01-02")
	}
	return "undated"
}

// store puts the column files in place and everything else into the database in
// one transaction.
func (w *adding) store(outings []outing) error {
	b := w.b
	type placed struct {
		id, meeting, day string
	}
	places := make([]placed, len(outings))
	for i, o := range outings {
		day := w.day(o.rec)
		meeting, err := b.meetingID(o.ride.Circuit.Name, day, day+"-"+slug(o.ride.Circuit.Name))
		if err != nil {
			return err
		}
		p := placed{id: w.out.Original[:16], day: day, meeting: meeting}
		if o.number > 1 {
			p.id = fmt.Sprintf("%s-%d", p.id, o.number)
		}
		places[i] = p
	}
	sheet, step, err := w.inBike()
	if err != nil {
		return err
	}
	// In their places while the database works, and before it commits.
	files := make([]string, len(outings))
	for i := range outings {
		files[i] = outings[i].tmp
	}
	n := 0
	placing := make(chan error, 1)
	go func() {
		var err error
		for ; n < len(files); n++ {
			if err = b.place(files[n], b.columnPath(places[n].meeting, w.bike.Name, places[n].id)); err != nil {
				break
			}
		}
		placing <- err
	}()
	inPlace := sync.OnceValue(func() error {
		err := <-placing
		for i := range n {
			outings[i].tmp = "" // nobody's to sweep any more
		}
		return err
	})
	defer inPlace()
	var numbers []int
	var told []recording.Problem
	err = b.tx(func(t *tx) error {
		if err := t.exec(`UPDATE original SET fault = '' WHERE hash = ?`, w.out.Original); err != nil {
			return err
		}
		if w.head != "" {
			if err := t.exec(`INSERT INTO map VALUES (?,?,?,?) ON CONFLICT (head) DO UPDATE SET name = excluded.name, source = excluded.source, added = excluded.added`, w.head, w.req.MapName, w.req.Map, t.at); err != nil {
				return err
			}
		}
		for i, o := range outings {
			if o.learnt != nil {
				if err := t.saveCircuit(o.learnt, o.origin, o.source); err != nil {
					return err
				}
				o.ride.Circuit.Version = o.learnt.Version
			}
			o.file.sign(rideMark(Run{Original: w.out.Original, Outing: o.number, BikeFile: w.bike.Version}, o.ride.Circuit.Version))
			p := places[i]
			if err := t.exec(`INSERT INTO meeting VALUES (?,?,?,'',?) ON CONFLICT DO NOTHING`, p.meeting, o.ride.Circuit.Name, p.day, t.at); err != nil {
				return err
			}
			problems := append([]recording.Problem{}, o.rec.Problems...)
			if i == 0 {
				problems = w.out.Problems
			}
			found := o.told()
			told = append(told, found...)
			problems = append(slices.Clip(problems), found...)
			list, err := json.Marshal(append([]recording.Kept{}, recording.Keep(problems)...))
			if err != nil {
				return err
			}
			span := o.rec.Span()
			n, err := t.insert(`INSERT INTO run (id, meeting, bike, bike_version, circuit, name, original, outing, from_s, to_s, format, rows, started, added, duration, sheet, step, map, problems)
				VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)`, p.id, p.meeting, w.bike.Name, w.bike.Version, o.ride.Circuit.Name, w.name, w.out.Original,
				o.number, span.From, span.To, o.rec.Format, o.rec.Rows, millis(started(o.rec)), t.at, span.To-span.From, sheet, step, w.req.Map, string(list))
			if err != nil {
				return err
			}
			numbers = append(numbers, n)
			for _, f := range [][2]string{{"slot", w.req.Slot}, {"tyre", w.req.Tyre}, {"weather", w.req.Weather}, {"note", w.req.Note}} {
				if f[1] != "" {
					if err := t.told(n, f[0], f[1], ""); err != nil {
						return err
					}
				}
			}
			if err := t.index(n, w.name+" "+o.ride.Circuit.Name+" "+w.bike.Name+" "+p.day); err != nil {
				return err
			}
			if err := t.saveResult(n, o.ride, o.cells); err != nil {
				return err
			}
			// Before anybody hears of the run: who looks at it then finds the analysis
			// in memory and does not make it a second time.
			b.rides.put(rideKey{n, o.ride.Circuit.Version}, o.ride)
			if err := t.event(Event{Kind: "run", Run: n, Ref: p.id}); err != nil {
				return err
			}
		}
		return inPlace()
	})
	if err != nil {
		for i, n := range numbers { // another run will have the number
			b.rides.drop(rideKey{n, outings[i].ride.Circuit.Version})
		}
		return err
	}
	w.out.Problems = append(w.out.Problems, told...)
	for i, n := range numbers {
		r, err := b.Run(fmt.Sprint(n))
		if err != nil {
			return err
		}
		w.out.Runs = append(w.out.Runs, r)
		outings[i].file.place(b, r)
		outings[i].file = nil
	}
	w.say("done", 1)
	return nil
}

// started is the wall clock at the first sample.
func started(rec *recording.Recording) time.Time {
	if rec.Epoch.IsZero() {
		return time.Time{}
	}
	from := rec.Span().From
	if math.IsNaN(from) || math.Abs(from) > 1e9 {
		return rec.Epoch
	}
	return rec.Epoch.Add(time.Duration(from * float64(time.Second)))
}

// inBike tells which sheet and step were in the bike.
func (w *adding) inBike() (sheet, step int, err error) {
	s, err := w.b.CurrentSheet(w.bike.Name)
	if errors.Is(err, ErrNotFound) {
		err = nil
	}
	if err != nil {
		return 0, 0, err
	}
	step = w.req.Step
	if step != 0 {
		st, err := w.b.Step(step)
		if err != nil {
			return 0, 0, err
		}
		if st.Bike != w.bike.Name {
			return 0, 0, invalid(say.T("step {step} is for {bike}, not for {name}", step, st.Bike, w.bike.Name), say.T("name a step of the same bike"))
		}
		return st.To, step, nil
	}
	steps, err := w.b.Steps(w.bike.Name)
	for _, x := range steps {
		if x.State == Loaded || x.State == Repeated {
			step = x.ID
		}
	}
	return s.Number, step, err
}

func (b *Book) columnPath(meeting, bikeName, id string) string {
	return filepath.Join(b.dir, "runs", "meeting="+meeting, "bike="+slug(bikeName), "run="+id, "channels.parquet")
}

// ColumnFile is the path of a run's column file.
func (b *Book) ColumnFile(run int) (string, error) {
	r, err := b.Run(fmt.Sprint(run))
	if err != nil {
		return "", err
	}
	return b.columnPath(r.Meeting, r.Bike, r.ID), nil
}
