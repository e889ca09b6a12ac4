package contract

import (
	"cornerwright/internal/book"
	"cornerwright/internal/recording"
	"cornerwright/internal/setting"
)

// Run is one outing.
type Run struct {
	Run       int                 `json:"run"`
	ID        string              `json:"id"`
	Meeting   string              `json:"meeting"`
	Circuit   string              `json:"circuit"`
	Bike      string              `json:"bike"`
	File      string              `json:"file"`
	Started   string              `json:"started,omitempty"` // RFC 3339
	DurationS *float64            `json:"duration_s,omitempty"`
	Laps      int                 `json:"laps"` // timed
	BestS     *float64            `json:"best_s,omitempty"`
	Slot      string              `json:"slot,omitempty"`
	Sheet     int                 `json:"sheet,omitempty"`
	Step      int                 `json:"step,omitempty"`
	Tyre      string              `json:"tyre,omitempty"`
	Weather   string              `json:"weather,omitempty"`
	Note      string              `json:"note,omitempty"`
	Struck    bool                `json:"struck,omitempty"`
	Original  string              `json:"original"` // sha-256
	Problems  []recording.Problem `json:"problems"`
}

// NewRun builds one.
func NewRun(r book.Run) Run {
	return Run{Run: r.Number, ID: r.ID, Meeting: r.Meeting, Circuit: r.Circuit, Bike: r.Bike, File: r.Name, Started: stamp(r.Started), DurationS: positive(r.Duration, 2),
		Laps: r.Laps, BestS: positive(r.Best, 4), Slot: r.Slot, Sheet: r.Sheet, Step: r.Step, Tyre: r.Tyre, Weather: r.Weather, Note: r.Note, Struck: r.Struck,
		Original: r.Original, Problems: list(r.Problems)}
}

// Runs is the answer of `runs --json`.
type Runs struct {
	Runs []Run `json:"runs"`
}

// NewRuns builds the answer.
func NewRuns(rs []book.Run) Runs {
	out := Runs{Runs: []Run{}}
	for _, r := range rs {
		out.Runs = append(out.Runs, NewRun(r))
	}
	return out
}

// Added is the answer of `add --json`, one entry a file.
type Added struct {
	Files []AddedFile `json:"files"`
}

// AddedFile is what became of one file.
type AddedFile struct {
	File      string              `json:"file"`
	Original  string              `json:"original,omitempty"`
	Duplicate bool                `json:"duplicate,omitempty"`
	Learnt    bool                `json:"learnt,omitempty"` // the circuit was learnt from it
	Runs      []Run               `json:"runs"`
	Problems  []recording.Problem `json:"problems"`
	Error     *Problem            `json:"error,omitempty"`
}

// Problem is why something could not be done.
type Problem struct {
	File   string `json:"file,omitempty"`
	Line   int    `json:"line,omitempty"`
	Column int    `json:"column,omitempty"`
	Text   string `json:"text"`
	Mend   string `json:"mend,omitempty"`
}

// Mark is a health mark of a channel.
type Mark struct {
	Kind  string   `json:"kind"`
	FromS *float64 `json:"from_s,omitempty"`
	ToS   *float64 `json:"to_s,omitempty"`
	Text  string   `json:"text,omitempty"`
}

// Channel is one channel of a recording.
type Channel struct {
	Name   string   `json:"name"`
	From   string   `json:"from"` // the column's own name
	Unit   string   `json:"unit"` // SI unit of the values in memory
	Source string   `json:"source_unit,omitempty"`
	Known  bool     `json:"known"`
	RateHz *float64 `json:"rate_hz,omitempty"`
	Jitter *float64 `json:"jitter_pct,omitempty"` // median deviation of the intervals from the usual one
	Step   *float64 `json:"step,omitempty"`       // of quantisation, in Unit
	FirstS *float64 `json:"first_s,omitempty"`
	LastS  *float64 `json:"last_s,omitempty"`
	N      int      `json:"n"`
	Gaps   int      `json:"gaps"`
	Marks  []Mark   `json:"marks"`
}

func channels(rec *recording.Recording) []Channel {
	out := []Channel{}
	for _, c := range rec.Channels {
		x := Channel{Name: c.Name, From: c.From, Unit: c.Unit, Source: c.SourceUnit, Known: c.Known, RateHz: positive(c.Rate(), 2), N: len(c.Time), Jitter: pct(c.Jitter()), Step: positive(c.Step, 12), Marks: []Mark{}}
		if n := len(c.Time); n > 0 {
			x.FirstS, x.LastS = opt(c.Time[0], 3), opt(c.Time[n-1], 3)
		}
		for _, m := range c.Marks {
			if m.Kind == recording.Gap || m.Kind == recording.Dropout {
				x.Gaps++
			}
			x.Marks = append(x.Marks, Mark{string(m.Kind), opt(m.From, 3), opt(m.To, 3), m.Text.String()})
		}
		out = append(out, x)
	}
	return out
}

// Check is the answer of `check FILE --json`.
type Check struct {
	File     string              `json:"file"`
	Format   string              `json:"format,omitempty"`
	Rows     int                 `json:"rows"`
	Usable   bool                `json:"usable"`
	Map      string              `json:"map,omitempty"` // the column map it went by, TOML, ready to edit
	Channels []Channel           `json:"channels"`
	Problems []recording.Problem `json:"problems"`
	Error    *Problem            `json:"error,omitempty"`
}

// NewCheck builds the answer; rec may be nil where nothing could be read.
func NewCheck(file string, rec *recording.Recording, fault *Problem) Check {
	out := Check{File: file, Usable: fault == nil, Channels: []Channel{}, Problems: []recording.Problem{}, Error: fault}
	if rec != nil {
		out.Format, out.Rows, out.Channels, out.Problems = rec.Format, rec.Rows, channels(rec), list(rec.Problems)
	}
	return out
}

// Channels is the answer of `channels RUN --json`.
type Channels struct {
	Run      int       `json:"run"`
	Channels []Channel `json:"channels"`
}

// NewChannels builds the answer.
func NewChannels(run book.Run, rec *recording.Recording) Channels {
	return Channels{Run: run.Number, Channels: channels(rec)}
}

// Sheet is the complete set of values of a bike at one moment.
type Sheet struct {
	Sheet    int                                  `json:"sheet"`
	Bike     string                               `json:"bike"`
	Parent   int                                  `json:"parent,omitempty"`
	Step     int                                  `json:"step,omitempty"`
	Note     string                               `json:"note,omitempty"`
	Slots    map[string]map[string]setting.Values `json:"slots"`
	Checksum map[string]string                    `json:"checksum"` // by slot
}

// NewSheet builds one.
func NewSheet(s book.Sheet) Sheet {
	out := Sheet{Sheet: s.Number, Bike: s.Bike, Parent: s.Parent, Step: s.Step, Note: s.Note, Slots: s.Slots, Checksum: map[string]string{}}
	for slot := range s.Slots {
		out.Checksum[slot] = s.Sheet.Checksum(slot)
	}
	return out
}
