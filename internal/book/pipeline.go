package book

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/intake"
	"cornerwright/internal/recording"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
)

// maxOriginal is the largest file taken in: an hour of every channel at a high
// rate as text is a tenth of it.
const maxOriginal = 1 << 30

// Add puts one recording into the book, analyses it and returns its runs.
// Where the file cannot be used the error says where, what and how to mend it,
// AddResult.Problems lists everything found, the original is kept, and nothing
// else changes.
func (b *Book) Add(ctx context.Context, req AddRequest) (AddResult, error) {
	begun := b.now()
	var at AddProgress
	tell := func(stage string, share float64, bytes int64, rows int) {
		if req.Progress != nil {
			req.Progress(stage, share)
		}
		if req.Watch != nil {
			at.Stage, at.Share, at.Bytes, at.Rows, at.Left = stage, share, bytes, rows, 0
			if took := b.now().Sub(begun); share > 0.08 && share < 1 {
				at.Left = time.Duration(float64(took) * (1 - share) / share)
			}
			req.Watch(at)
		}
	}
	told := func(stage string, share float64) { tell(stage, share, at.Bytes, at.Rows) }
	if b.readOnly {
		return AddResult{}, b.tx(nil)
	}
	name := req.Name
	if name == "" {
		name = filepath.Base(req.Path)
	}
	// The bike first: without one nothing of the file is looked at.
	k, err := b.Bike(req.Bike)
	if err != nil {
		return AddResult{}, err
	}
	if err := b.checkTold(req); err != nil {
		return AddResult{}, err
	}
	told("reading", 0)
	in, err := openInput(req.Path, req.Data)
	if err != nil {
		return AddResult{}, err
	}
	defer in.close()
	at.Size = in.size
	b.adding.Lock()
	defer b.adding.Unlock()

	out := AddResult{Original: in.hash}
	if out.Runs, err = b.runsOf(out.Original); err != nil {
		return out, err
	}
	if len(out.Runs) > 0 {
		out.Duplicate = true
		told("done", 1)
		return out, nil
	}
	// The original is stored beside the analysis, and the database knows of it, before
	// it hears of anything else, whatever becomes of the analysis.
	stored := make(chan error, 1)
	go func() {
		n, err := b.storeOriginal(in.hash, in, in.size)
		if err == nil {
			err = b.knowOriginal(in.hash, name, in.size, n, say.T("not analysed yet"))
		}
		stored <- err
	}()
	w := &adding{b: b, req: req, name: name, bike: k, out: &out, say: told}
	outings, err := w.run(ctx, in, func(p intake.Progress) {
		// Of what a compressed file holds the total is not known beforehand.
		share := math.Min(1, float64(p.Bytes)/float64(max(p.Total, 1)))
		tell("reading", 0.05+0.2*share, p.Bytes, p.Rows)
	})
	defer func() {
		for _, o := range outings {
			if o.tmp != "" {
				b.fs.Remove(o.tmp)
			}
			if o.file != nil {
				o.file.drop(b)
			}
		}
	}()
	told("storing", 0.9)
	if serr := <-stored; serr != nil {
		return out, serr
	}
	if err != nil && ctx.Err() == nil {
		if ferr := b.faultOf(out.Original, errText(err)); ferr != nil {
			return out, ferr
		}
	}
	if err == nil {
		err = ctx.Err()
	}
	if err != nil {
		return out, err
	}
	return out, w.store(outings)
}

// knowOriginal tells the database of an original that is on the disk.
func (b *Book) knowOriginal(hash, name string, size, stored int64, fault say.Text) error {
	return b.tx(func(t *tx) error {
		return t.exec(`INSERT INTO original VALUES (?,?,?,?,?,?) ON CONFLICT (hash) DO UPDATE SET fault = excluded.fault,
			name = CASE original.name WHEN '' THEN excluded.name ELSE original.name END`, hash, name, size, stored, t.at, string(fault))
	})
}

// faultOf tells the database why an original could not be analysed.
func (b *Book) faultOf(hash string, fault say.Text) error {
	return b.tx(func(t *tx) error { return t.exec(`UPDATE original SET fault = ? WHERE hash = ?`, string(fault), hash) })
}

func (b *Book) runsOf(hash string) ([]Run, error) {
	var out []Run
	err := each(b.r, func(s scanner) error {
		r, err := scanRun(s)
		out = append(out, r)
		return err
	}, runSelect+` WHERE r.original = ? ORDER BY r.outing`, hash)
	if err == nil {
		for i := range out {
			if err = b.fillTold(out[i : i+1]); err != nil {
				break
			}
		}
	}
	return out, b.ioError(err)
}

// adding is one file on its way into the book.
type adding struct {
	b    *Book
	req  AddRequest
	name string
	bike BikeRecord
	out  *AddResult
	say  func(string, float64)
	head string // columns under which the map given is remembered; "" for none
}

// outing is one run of the file, analysed and not yet stored.
type outing struct {
	number int // place in the file, from 1
	rec    *recording.Recording
	ride   *ride.Ride
	learnt *circuit.Circuit // a new line to be stored with it
	origin say.Text
	source []byte              // edits of a circuit file that were applied
	found  []recording.Problem // what learning the circuit told
	tmp    string              // column file, written aside
	// What needs nothing but the ride is begun as soon as there is one.
	file  *rideFile
	cells []chan rehearsal.Footprint
}

// told are the problems that analysing the outing found: of the ride, and of a
// circuit that it taught. What both tell with other numbers is told once.
func (o *outing) told() []recording.Problem {
	out := slices.Clone(o.ride.Problems)
	for _, p := range o.found {
		if !slices.ContainsFunc(o.ride.Problems, func(q recording.Problem) bool { return q.Channel == p.Channel && q.Mend == p.Mend }) {
			out = append(out, p)
		}
	}
	return out
}

// run reads and analyses; nothing but column files in tmp/ is written.
func (w *adding) run(ctx context.Context, in *input, progress func(intake.Progress)) (outings []outing, err error) {
	w.say("reading", 0.05)
	res, remembered, err := w.parse(in, progress)
	if err != nil {
		return nil, err
	}
	if !remembered {
		w.head = headOf(res)
	}
	for _, rec := range res.Recordings {
		rec.Hash = w.out.Original
		if err := usable(rec, w.name); err != nil {
			return nil, err
		}
	}
	parts, of := outingsOf(res)
	known, err := w.b.knownCircuits()
	if err != nil {
		return nil, err
	}
	for i, part := range parts {
		if err := ctx.Err(); err != nil {
			return outings, err
		}
		w.say("finding laps and turns", 0.3+0.6*float64(i)/float64(len(parts)))
		part.Hash = w.out.Original
		// The column file is written beside the analysis.
		tmp := w.b.tmpName()
		written := make(chan error, 1)
		go func() {
			err := w.b.writeColumns(tmp, res, of[i], part)
			if i == len(parts)-1 {
				res.Forget() // a third of the memory, while the analysis goes on
			}
			written <- err
		}()
		o, err := w.analyse(part, known)
		o.number, o.tmp = i+1, tmp
		if werr := <-written; werr != nil && err == nil {
			err = w.b.ioError(werr)
		}
		if err != nil {
			w.b.fs.Remove(tmp)
			if o.file != nil {
				o.file.drop(w.b)
			}
			if len(parts) > 1 && errors.Is(err, ErrInvalid) {
				// One outing of several: the others may still do.
				w.out.Problems = append(w.out.Problems, recording.Problem{Severity: recording.Warning,
					Text: say.T("outing {i} of the file is left out: {why}", i+1, errText(err)), Mend: say.T("nothing, if it was a lap to the pump")})
				continue
			}
			return outings, err
		}
		if o.learnt != nil {
			known = append(known, o.learnt)
		}
		outings = append(outings, o)
	}
	if len(outings) == 0 {
		return nil, &Error{Kind: ErrInvalid, File: w.name, Text: say.T("none of the outings in the file can be used"), Mend: say.T("see the problems listed")}
	}
	return outings, nil
}

// parse reads the file with the map given, or the one remembered for its columns.
func (w *adding) parse(in *input, progress func(intake.Progress)) (res *intake.Result, remembered bool, err error) {
	remembered = w.req.Map == nil
	res, err = readFile(w.name, in, w.req.MapName, w.req.Map, progress)
	if res != nil && remembered {
		if m := w.b.rememberedMap(res); m != nil {
			w.req.Map, w.req.MapName = m, "remembered column map"
			res, err = readFile(w.name, in, w.req.MapName, m, progress)
		}
	}
	if res != nil {
		w.out.Problems = res.Problems
	}
	return res, remembered, err
}

func errText(err error) say.Text {
	var be *Error
	if errors.As(err, &be) {
		return be.Text
	}
	return say.Of(err)
}

// usable refuses a recording from which nothing can be found.
func usable(rec *recording.Recording, name string) error {
	var have []string
	for _, c := range rec.Channels {
		have = append(have, c.From)
	}
	found := strings.Join(have, ", ")
	if len(found) > 200 {
		found = found[:200] + " ..."
	}
	if !rec.Has(recording.Latitude, recording.Longitude) {
		return &Error{Kind: ErrInvalid, File: name, Line: 1, Text: say.T("no column is recognised as latitude and longitude; the columns are: {found}", found),
			Mend: say.T("name them in a column map: cornerwright add FILE --map MAP.toml")}
	}
	for _, p := range rec.Problems {
		if p.Severity == recording.Fault && p.Channel == recording.Latitude {
			return &Error{Kind: ErrInvalid, File: name, Line: p.Line, Column: p.Column, Text: p.Text, Mend: p.Mend}
		}
	}
	// A receiver's track of positions alone is a recording; a table without a
	// speed column more likely has one that was not recognised.
	if rec.Format == "GPX" || rec.Format == "NMEA 0183" {
		return nil
	}
	if rec.Channel(recording.FrontSpeed) == nil && rec.Channel(recording.RearSpeed) == nil && rec.Channel(recording.GPSSpeed) == nil {
		return &Error{Kind: ErrInvalid, File: name, Line: 1, Text: say.T("no column is recognised as a speed (front wheel, rear wheel or GPS); the columns are: {found}", found),
			Mend: say.T("name one in a column map: cornerwright add FILE --map MAP.toml; a track of positions alone is read as GPX or NMEA")}
	}
	return nil
}

// analyse finds circuit, laps, turns and everything else of one outing.
func (w *adding) analyse(rec *recording.Recording, known []*circuit.Circuit) (outing, error) {
	o := outing{rec: rec}
	var on *circuit.Circuit
	var opt ride.Options
	fail := func(text, mend say.Text) (outing, error) {
		return o, &Error{Kind: ErrInvalid, File: w.name, Text: text, Mend: mend}
	}
	fits, why := circuit.Recognise(rec, known)
	if want := w.req.Circuit; want != "" {
		for _, c := range known {
			if strings.EqualFold(c.Name, want) {
				on = c
			}
		}
		if on == nil {
			// A name that is not known yet: learnt under it, with the edits of a
			// circuit file if one was given beforehand.
			if fits != nil {
				return fail(say.T("the recording was ridden on {circuit}, which the book knows, not on a new circuit {name}", fits.Name, strconv.Quote(want)), say.T("leave --circuit out, or write {circuit}", fits.Name))
			}
			opt.Circuit.Name = want
			if c, src, err := w.b.circuitLine(want); err == nil && src != nil {
				e, err := circuit.ParseFile(want+".toml", src)
				if err != nil {
					return o, asInvalid(err)
				}
				opt.Circuit.Edits, opt.Circuit.Gate, o.source = e, e.GateAt(), src
				opt.Circuit.Name = c.Name
			} else if err != nil && !errors.Is(err, ErrNotFound) && !errors.Is(err, ErrInvalid) {
				return o, err
			}
		} else if fits != nil && fits.Name != on.Name {
			return fail(say.T("the recording was ridden on {circuit}, not on {other}", fits.Name, on.Name), say.T("leave --circuit out, or write {circuit}", fits.Name))
		}
	} else {
		on = fits
	}
	if on == nil && opt.Circuit.Name == "" {
		n := 1
		taken := map[string]bool{}
		for _, c := range known {
			taken[c.Name] = true
		}
		for taken[fmt.Sprintf("Circuit %d", n)] {
			n++
		}
		opt.Circuit.Name = fmt.Sprintf("Circuit %d", n)
	}
	if on == nil {
		opt.Circuit.AntennaHeight = w.bike.Bike.Antenna
		loc, err := circuit.Locate(rec, nil, opt.Circuit)
		if err != nil {
			return o, &Error{Kind: ErrInvalid, File: w.name, Err: err, Mend: say.T("give a recording with GPS position")}
		}
		if loc.Circuit == nil {
			text, mend := say.T("no lap closes"), say.T("record at least two laps")
			for _, p := range loc.Problems {
				if p.Severity == recording.Fault {
					text, mend = p.Text, p.Mend
				}
			}
			return fail(text, mend)
		}
		c := *loc.Circuit
		if c.Name == "" {
			c.Name = opt.Circuit.Name
		}
		o.learnt, on, o.found = &c, &c, loc.Problems
		o.origin = say.T("learnt from {file}", w.name)
		if why != "" {
			w.out.Problems = append(w.out.Problems, recording.Problem{Severity: recording.Note, Text: say.T("the circuit is learnt from this run as {name}: {why}", fmt.Sprintf("%q", c.Name), why), Mend: learntMend(w.req.Circuit)})
		}
		w.out.Learnt = true
	}
	// Laid on the line that is stored, so that a later computation from the
	// stored line gives the same.
	r, err := ride.Analyse(rec, w.bike.Bike, on, ride.Options{})
	if err != nil {
		return o, &Error{Kind: ErrInvalid, File: w.name, Err: err, Mend: say.T("give a recording with GPS position and at least one lap")}
	}
	if r.Circuit == nil {
		text, mend := say.T("the run cannot be laid on {circuit}", on.Name), say.T("check that it was ridden there")
		for _, p := range r.Problems {
			if p.Severity == recording.Fault {
				text, mend = p.Text, p.Mend
			}
		}
		return fail(text, mend)
	}
	settle(r)
	o.ride = r
	o.file, o.cells = w.b.beginRide(r), visitsOf(r, w.bike.Bike)
	return o, nil
}

// learntMend says how a learnt circuit gets its name, where it has none yet.
func learntMend(named string) say.Text {
	if named != "" {
		return say.T("nothing to do; a circuit file names its turns: cornerwright circuit FILE.toml")
	}
	return say.T("nothing to do; cornerwright circuit --rename names a circuit, a circuit file its turns")
}

// checkTold refuses what was said with a file and cannot be, before the file is
// looked at.
func (b *Book) checkTold(req AddRequest) error {
	if req.Step != 0 {
		if _, err := b.Step(req.Step); err != nil {
			return err
		}
	}
	if s := req.Slot; s != "" && (len(s) != 1 || s[0] < 'A' || s[0] > 'H') {
		return invalid(say.T("slot {s} is not a letter of the bar switch", fmt.Sprintf("%q", s)), say.T("write one capital letter from A to H"))
	}
	return checkDay(req.Day)
}

func checkDay(day string) error {
	if _, err := time.Parse("2006-01-02", day); day != "" && err != nil {
		return invalid(say.T("{day} is not a day", fmt.Sprintf("%q", day)), say.T("write it like 2026-05-14"))
	}
	return nil
}

// bikeOf returns the bike as it was for a run.
func (b *Book) bikeOf(r Run) (*bike.Bike, error) { return b.bikeAt(r.Bike, r.BikeFile) }

// rememberedMap is the column map that was used for the same columns before.
func (b *Book) rememberedMap(res *intake.Result) []byte {
	var m []byte
	if err := b.r.QueryRow(`SELECT source FROM map WHERE head = ?`, headOf(res)).Scan(&m); err != nil {
		return nil
	}
	return m
}
