package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"strconv"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/intake"
	"cornerwright/internal/recording"
)

type addPage struct {
	Bikes                    []book.BikeRecord
	Circuits                 []book.CircuitRecord
	Trouble, Mend            string
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
	return page{Title: "Add a recording", Name: "add", Body: d}, err
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
	switch {
	case err != nil:
		text, mend, ok := trouble(err)
		if !ok {
			s.log.Error("add", "error", err)
			text, mend = "the recording could not be taken; why is in the log", "send it again"
		}
		w.WriteHeader(http.StatusUnprocessableEntity)
		out = map[string]any{"trouble": text, "mend": mend}
	case again != nil:
		d := again.Body.(addPage)
		w.WriteHeader(http.StatusUnprocessableEntity)
		out = map[string]any{"trouble": d.Trouble, "mend": d.Mend, "original": d.Original, "problems": d.Problems}
	}
	json.NewEncoder(w).Encode(out) //nolint:errcheck // the reader may have gone
}

func (s *server) takeRecording(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	name, data, err := s.upload(w, r, "recording", maxUpload)
	if err != nil {
		return "", nil, err
	}
	get := func(k string) string { return strings.TrimSpace(r.FormValue(k)) }
	d, err := s.addBody()
	if err != nil {
		return "", nil, err
	}
	d.Bike, d.Circuit, d.Slot, d.Tyre, d.Weather, d.Note = get("bike"), get("circuit"), get("slot"), get("tyre"), get("weather"), get("note")
	d.Here = s.atThisMachine(r)
	again := func(text, mend string) (string, *page, error) {
		d.Trouble, d.Mend = text, mend
		return "", &page{Title: "Add a recording", Name: "add", Body: d}, nil
	}
	if name == "" {
		return again("no file was chosen", "choose the recording that the logger wrote")
	}
	j := s.startJob(get("job"))
	defer j.set("done", 1, true)
	res, err := s.book.Add(r.Context(), book.AddRequest{Name: name, Data: data, Bike: d.Bike, Circuit: d.Circuit, Slot: d.Slot, Tyre: d.Tyre, Weather: d.Weather, Note: d.Note,
		Progress: func(stage string, share float64) { j.set(stage, share, false) }})
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
		return again("the file holds no run", "see what was found in it")
	}
	return fmt.Sprintf("/run/%d", res.Runs[0].Number), nil, nil
}

type columnRow struct {
	intake.ColumnInfo
	Choice string // by a person; "" as found
	Values string // from least to greatest, to judge by
}

type columnsPage struct {
	Hash          string
	Columns       []columnRow
	Channels      []string
	Bikes         []book.BikeRecord
	Bike          string
	Trouble, Mend string
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
	return page{Title: "Columns of the file", Name: "columns", Body: d}, nil
}

func (s *server) columnsBody(r *http.Request) (columnsPage, []byte, error) {
	d := columnsPage{Hash: r.PathValue("hash"), Channels: channelNames}
	if len(d.Hash) != 64 || strings.Trim(d.Hash, "0123456789abcdef") != "" {
		return d, nil, &book.Error{Kind: book.ErrNotFound, Text: "there is no such original", Mend: "add the recording again"}
	}
	f, err := s.book.Original(d.Hash)
	if err != nil {
		return d, nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxUpload))
	if err != nil {
		return d, nil, err
	}
	if d.Bikes, err = s.book.Bikes(); err != nil {
		return d, nil, err
	}
	res, err := intake.Read("the recording", data, intake.Options{NoHealth: true})
	if err != nil {
		d.Trouble = err.Error()
	}
	if res != nil {
		for _, c := range res.Columns {
			row := columnRow{ColumnInfo: c}
			if len(res.Recordings) > 0 {
				row.Values = valueRange(res.Recordings[0].Channel(c.Channel))
			}
			d.Columns = append(d.Columns, row)
		}
	}
	if len(d.Columns) == 0 && d.Trouble == "" {
		d.Trouble = "no column was found in this file"
	}
	return d, data, nil
}

// mapColumns adds the kept original with a column map made of the form.
func (s *server) mapColumns(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	d, data, err := s.columnsBody(r)
	if err != nil {
		return "", nil, err
	}
	var b strings.Builder
	for i := range d.Columns {
		c := &d.Columns[i]
		ch, u := field(r, fmt.Sprintf("channel-%d", c.Index)), field(r, fmt.Sprintf("unit-%d", c.Index))
		if ch == "" {
			continue // as it was found
		}
		c.Choice = ch
		fmt.Fprintf(&b, "[[column]]\nindex = %d\nchannel = %s\n", c.Index, quoteTOML(ch))
		if u != "" && ch != "ignore" {
			fmt.Fprintf(&b, "unit = %s\n", quoteTOML(u))
			c.Unit = u
		}
	}
	d.Bike = field(r, "bike")
	res, err := s.book.Add(r.Context(), book.AddRequest{Name: "mapped recording", Data: data, Bike: d.Bike, Map: []byte(b.String()), MapName: "the columns below"})
	if err == nil && len(res.Runs) > 0 {
		return fmt.Sprintf("/run/%d", res.Runs[0].Number), nil, nil
	}
	if err == nil {
		err = &book.Error{Kind: book.ErrInvalid, Text: "the file still holds no run", Mend: "time, latitude, longitude and a speed are needed"}
	}
	text, mend, ok := trouble(err)
	if !ok {
		return "", nil, err
	}
	d.Trouble, d.Mend = text, mend
	return "", &page{Title: "Columns of the file", Name: "columns", Body: d}, nil
}

// valueRange tells the least and the greatest value of a channel, "" for none.
func valueRange(c *recording.Channel) string {
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
		return "none"
	}
	u := c.Display()
	say := func(v float64) string {
		return strings.Replace(strconv.FormatFloat(u.FromSI(v), 'f', u.Auto(), 64), "-", "−", 1)
	}
	return strings.TrimSpace(say(lo) + " to " + say(hi) + " " + u.Symbol)
}
