package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"path/filepath"
	"strconv"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/intake"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

type addPage struct {
	Bikes                    []book.BikeRecord
	Circuits                 []book.CircuitRecord
	Trouble, Mend            say.Text
	Original                 string // of a file that was kept and could not be used
	Problems                 []recording.Problem
	Bike, Circuit, Slot      string
	Tyre, Weather, Note, Job string
	Folder                   string // to be watched, as typed
	Watch                    watchPage
	Here                     bool // the reader sits at this machine
	Max                      int64
	Added                    []book.Run // of several files sent at once
}

func (s *server) addForm(r *http.Request) (page, error) {
	d, err := s.addBody()
	d.Here = s.atThisMachine(r)
	return page{Title: say.T("Add a recording"), Name: "add", Body: d}, err
}

func (s *server) addBody() (addPage, error) {
	k, err := s.book.Bikes()
	if err != nil {
		return addPage{}, err
	}
	c, err := s.book.Circuits()
	return addPage{Bikes: k, Circuits: c, Job: newKey(), Max: maxUpload, Watch: s.watch.page()}, err
}

// add takes one recording as an upload. A script asks for JSON and gets where
// to go next; a plain form is sent there.
func (s *server) add(w http.ResponseWriter, r *http.Request) {
	plain := !strings.Contains(r.Header.Get("Accept"), "application/json")
	to, again, err := s.takeRecording(w, r)
	if plain {
		s.act(func(http.ResponseWriter, *http.Request) (string, *page, error) { return to, again, err })(w, r)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	out := map[string]any{"to": to}
	in := func(t say.Text) string { return s.said(r, t) }
	switch {
	case err != nil:
		text, mend, ok := trouble(err)
		if !ok {
			s.log.Error("add", "error", err)
			text, mend = say.T("the recording could not be taken; why is in the log"), say.T("send it again")
		}
		w.WriteHeader(http.StatusUnprocessableEntity)
		out = map[string]any{"trouble": in(text), "mend": in(mend)}
	case again != nil:
		d := again.Body.(addPage)
		problems := make([]recording.Problem, len(d.Problems))
		for i, p := range d.Problems {
			p.Text, p.Mend = say.Plain(in(p.Text)), say.Plain(in(p.Mend))
			problems[i] = p
		}
		w.WriteHeader(http.StatusUnprocessableEntity)
		out = map[string]any{"trouble": in(d.Trouble), "mend": in(d.Mend), "original": d.Original, "problems": problems}
	}
	json.NewEncoder(w).Encode(out) //nolint:errcheck // the reader may have gone
}

func (s *server) takeRecording(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	files, err := s.received(w, r, maxUpload, "recording", "database")
	if err != nil {
		return "", nil, err
	}
	name, data := files[0].name, files[0].data
	get := func(k string) string { return strings.TrimSpace(r.FormValue(k)) }
	d, err := s.addBody()
	if err != nil {
		return "", nil, err
	}
	d.Bike, d.Circuit, d.Slot, d.Tyre, d.Weather, d.Note = get("bike"), get("circuit"), get("slot"), get("tyre"), get("weather"), get("note")
	d.Here = s.atThisMachine(r)
	again := func(text, mend say.Text) (string, *page, error) {
		d.Trouble, d.Mend = text, mend
		return "", &page{Title: say.T("Add a recording"), Name: "add", Body: d}, nil
	}
	if name == "" {
		return again(say.T("no file was chosen"), say.T("choose the recording that the logger wrote"))
	}
	if db := files[1]; db.name != "" {
		// Both are kept as one original, so that the log can always be read again.
		var packed bytes.Buffer
		if err := intake.Bind(&packed, intake.Part{Name: filepath.Base(db.name), Data: bytes.NewReader(db.data)}, intake.Part{Name: filepath.Base(name), Data: bytes.NewReader(data)}); err != nil {
			return "", nil, err
		}
		name, data = strings.TrimSuffix(filepath.Base(name), filepath.Ext(name))+".zip", packed.Bytes()
	}
	j := s.startJob(get("job"))
	defer j.set(book.AddProgress{Stage: "done", Share: 1}, true)
	res, err := s.book.Add(r.Context(), book.AddRequest{Name: name, Data: data, Bike: d.Bike, Circuit: d.Circuit, Slot: d.Slot, Tyre: d.Tyre, Weather: d.Weather, Note: d.Note,
		Watch: func(p book.AddProgress) { j.set(p, false) }})
	d.Original, d.Problems = res.Original, res.Problems
	if err != nil {
		// A disk that is full or gone is told where the form stands too: what was
		// typed is kept and can be sent once more.
		if e := (*book.Error)(nil); errors.As(err, &e) && errors.Is(err, book.ErrDamaged) {
			s.log.Error("add", "error", err)
			return again(e.Text, e.Mend)
		}
		if text, mend, ok := trouble(err); ok {
			return again(text, mend)
		}
		return "", nil, err
	}
	if len(res.Runs) == 0 {
		return again(say.T("the file holds no run"), say.T("see what was found in it"))
	}
	return fmt.Sprintf("/run/%d", res.Runs[0].Number), nil, nil
}

type columnRow struct {
	intake.ColumnInfo
	Choice string   // by a person; "" as found
	Values say.Text // from least to greatest, to judge by
}

type columnsPage struct {
	Hash          string
	Columns       []columnRow
	Channels      []string
	Bikes         []book.BikeRecord
	Bike          string
	Runs          []book.Run // read from it
	Trouble, Mend say.Text
}

// channelNames are the channels that a column can be, by their canonical names.
var channelNames = []string{
	recording.Latitude, recording.Longitude, recording.Altitude, recording.GPSSpeed, recording.GPSHeading, recording.FrontSpeed, recording.RearSpeed,
	recording.RPM, recording.Gear, recording.Grip, recording.Throttle, recording.Cut, recording.FrontBrake, recording.RearBrake, recording.Clutch,
	recording.Lean, recording.RollRate, recording.PitchRate, recording.YawRate, recording.AccelX, recording.AccelY, recording.AccelZ,
	recording.Fork, recording.Shock, recording.Steer, recording.Coolant, recording.AirTemp, recording.Lambda, recording.Slot, recording.LapMarker,
}

// columns shows what became of each column of an original, to be put right.
func (s *server) columns(r *http.Request) (page, error) {
	d, _, err := s.columnsBody(r)
	if err != nil {
		return page{}, err
	}
	return page{Title: say.T("Columns of the file"), Name: "columns", Body: d}, nil
}

// columnsHead is how much of a text is read to show its columns, bytes.
const columnsHead = 256 << 10

func (s *server) columnsBody(r *http.Request) (columnsPage, *intake.ColumnMap, error) {
	d := columnsPage{Hash: r.PathValue("hash"), Channels: channelNames}
	if len(d.Hash) != 64 || strings.Trim(d.Hash, "0123456789abcdef") != "" {
		return d, nil, &book.Error{Kind: book.ErrNotFound, Text: say.T("there is no such original"), Mend: say.T("add the recording again")}
	}
	var err error
	if d.Bikes, err = s.book.Bikes(); err != nil {
		return d, nil, err
	}
	res, runs, m, err := s.book.Columns(d.Hash, columnsHead)
	d.Runs = runs
	if err != nil {
		text, _, ok := trouble(err)
		if !ok || res == nil && errors.Is(err, book.ErrNotFound) {
			return d, nil, err
		}
		d.Trouble = text
	}
	if res != nil {
		for _, c := range res.Columns {
			row := columnRow{ColumnInfo: c}
			if e := mapped(m, c); e != nil {
				row.Choice = e.Channel
			}
			if len(res.Recordings) > 0 {
				row.Values = valueRange(res.Recordings[0].Channel(c.Channel))
			}
			d.Columns = append(d.Columns, row)
		}
	}
	if len(d.Columns) == 0 && d.Trouble == "" {
		d.Trouble = say.T("no column was found in this file")
	}
	return d, m, nil
}

// mapped is the entry of a map that speaks of a column, nil for none.
func mapped(m *intake.ColumnMap, c intake.ColumnInfo) *intake.MapColumn {
	if m == nil {
		return nil
	}
	for i := range m.Columns {
		if e := &m.Columns[i]; e.Index == c.Index && e.Index > 0 || e.From != "" && (e.From == c.Header || e.From == c.Cell) {
			return e
		}
	}
	return nil
}

// mapText writes the column map of the form. What an earlier map said besides,
// such as a scale or the rows a second, stays.
func mapText(r *http.Request, columns []columnRow, old *intake.ColumnMap) string {
	var b strings.Builder
	if old != nil {
		b.WriteString(old.Head())
	}
	for i := range columns {
		c := &columns[i]
		ch, u := field(r, fmt.Sprintf("channel-%d", c.Index)), field(r, fmt.Sprintf("unit-%d", c.Index))
		c.Choice = ch
		if ch == "" {
			continue // as it was found
		}
		fmt.Fprintf(&b, "[[column]]\nindex = %d\nchannel = %s\n", c.Index, say.Quote(ch))
		if u != "" && ch != "ignore" {
			fmt.Fprintf(&b, "unit = %s\n", say.Quote(u))
			c.Unit = u
		}
		if e := mapped(old, c.ColumnInfo); e != nil && e.Channel == ch {
			if e.Scale != 0 {
				fmt.Fprintf(&b, "scale = %v\n", e.Scale)
			}
			if e.Offset != 0 {
				fmt.Fprintf(&b, "offset = %v\n", e.Offset)
			}
			if e.Invert {
				b.WriteString("invert = true\n")
			}
		}
	}
	return b.String()
}

// mapColumns adds the kept original with a column map made of the form; where it
// holds runs already, these are read again with it.
func (s *server) mapColumns(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	d, old, err := s.columnsBody(r)
	if err != nil {
		return "", nil, err
	}
	text := []byte(mapText(r, d.Columns, old))
	d.Bike = field(r, "bike")
	runs := d.Runs
	if len(runs) > 0 {
		runs, err = s.book.Remap(r.Context(), d.Hash, text, "the columns below")
	} else {
		var data []byte
		if data, err = s.original(d.Hash); err == nil {
			var res book.AddResult
			res, err = s.book.Add(r.Context(), book.AddRequest{Name: s.book.OriginalName(d.Hash), Data: data, Bike: d.Bike, Map: text, MapName: "the columns below"})
			runs = res.Runs
		}
	}
	if err == nil && len(runs) > 0 {
		return fmt.Sprintf("/run/%d", runs[0].Number), nil, nil
	}
	if err == nil {
		err = &book.Error{Kind: book.ErrInvalid, Text: say.T("the file still holds no run"), Mend: say.T("time, latitude, longitude and a speed are needed")}
	}
	said, mend, ok := trouble(err)
	if !ok {
		return "", nil, err
	}
	d.Trouble, d.Mend = said, mend
	return "", &page{Title: say.T("Columns of the file"), Name: "columns", Body: d}, nil
}

func (s *server) original(hash string) ([]byte, error) {
	f, err := s.book.Original(hash)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, maxUpload))
}

// valueRange tells the least and the greatest value of a channel, "" for none.
func valueRange(c *recording.Channel) say.Text {
	if c == nil {
		return ""
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range c.Value {
		if v < lo {
			lo = v
		}
		if v > hi {
			hi = v
		}
	}
	if lo > hi {
		return say.T("none")
	}
	u := c.Display()
	num := func(v float64) string {
		return strings.Replace(strconv.FormatFloat(u.FromSI(v), 'f', u.Auto(), 64), "-", "−", 1)
	}
	if u.Symbol == "" {
		return say.T("{lo} to {hi}", num(lo), num(hi))
	}
	return say.T("{lo} to {hi} {unit}", num(lo), num(hi), u.Symbol)
}
