package intake

import (
	"math"

	"cornerwright/internal/recording"
)

// Report is the answer of `check FILE --json`.
type Report struct {
	Format   string          `json:"format"`
	Rows     int             `json:"rows"`
	LostRows int             `json:"lost_rows,omitempty"`
	Lost     int64           `json:"lost_bytes,omitempty"`
	Channels []ReportChannel `json:"channels"`
	Problems []ReportProblem `json:"problems"`
	Map      string          `json:"map,omitempty"`
	Parts    []ReportPart    `json:"recordings,omitempty"` // where one input holds several
}

// ReportPart is one recording of several.
type ReportPart struct {
	Name     string          `json:"name"`
	Rows     int             `json:"rows"`
	Channels []ReportChannel `json:"channels"`
}

// ReportChannel is one channel in a Report. Unknown values are absent.
type ReportChannel struct {
	Name       string       `json:"name"`
	From       string       `json:"from"`
	Unit       string       `json:"unit"`
	SourceUnit string       `json:"source_unit,omitempty"`
	RateHz     *float64     `json:"rate_hz,omitempty"`
	JitterPct  *float64     `json:"jitter_pct,omitempty"`
	FirstS     *float64     `json:"first_s,omitempty"`
	LastS      *float64     `json:"last_s,omitempty"`
	Samples    int          `json:"samples"`
	Gaps       int          `json:"gaps"`
	Step       *float64     `json:"step,omitempty"` // quantisation step, in unit
	Marks      []ReportMark `json:"marks"`
}

// ReportMark is one health mark.
type ReportMark struct {
	Kind string  `json:"kind"`
	From float64 `json:"from_s"`
	To   float64 `json:"to_s"`
	Text string  `json:"text"`
}

// ReportProblem is one problem.
type ReportProblem struct {
	Severity string `json:"severity"`
	Line     int    `json:"line,omitempty"`
	Column   int    `json:"column,omitempty"`
	Channel  string `json:"channel,omitempty"`
	Text     string `json:"text"`
	Mend     string `json:"mend"`
}

// Check sums up a result as the `check` command tells it.
func Check(res *Result) Report {
	r := Report{Format: res.Format, Rows: res.Rows, LostRows: res.LostRows, Lost: res.LostBytes, Map: res.Map, Channels: []ReportChannel{}, Problems: []ReportProblem{}}
	for i, rec := range res.Recordings {
		ch := reportChannels(rec)
		if i == 0 {
			r.Channels = ch
		}
		if len(res.Recordings) > 1 {
			r.Parts = append(r.Parts, ReportPart{rec.Name, rec.Rows, ch})
		}
	}
	for _, p := range res.Problems {
		r.Problems = append(r.Problems, ReportProblem{string(p.Severity), p.Line, p.Column, p.Channel, p.Text, p.Mend})
	}
	return r
}

func reportChannels(rec *recording.Recording) []ReportChannel {
	out := make([]ReportChannel, 0, len(rec.Channels))
	for _, c := range rec.Channels {
		rc := ReportChannel{Name: c.Name, From: c.From, Unit: c.Unit, SourceUnit: c.SourceUnit, Samples: len(c.Value), Marks: []ReportMark{}}
		if u := c.Display(); u.Symbol != "" {
			rc.Unit = u.Symbol
			if c.Step > 0 {
				rc.Step = ptr(u.DeltaFromSI(c.Step))
			}
		}
		if n := len(c.Time); n > 0 {
			rc.FirstS, rc.LastS = ptr(c.Time[0]), ptr(c.Time[n-1])
		}
		if rate := c.Rate(); rate > 0 {
			rc.RateHz = ptr(rate)
			rc.JitterPct = ptr(100 * jitter(c.Time, 1/rate))
		}
		for _, m := range c.Marks {
			if m.Kind == recording.Gap || m.Kind == recording.Dropout {
				rc.Gaps++
			}
			rc.Marks = append(rc.Marks, ReportMark{string(m.Kind), m.From, m.To, m.Text})
		}
		out = append(out, rc)
	}
	return out
}

// jitter is the median absolute deviation of the intervals from dt, as a share
// of dt.
func jitter(t []float64, dt float64) float64 {
	var d []float64
	for i := 1; i < len(t); i += 1 + len(t)/4096 {
		d = append(d, math.Abs(t[i]-t[i-1]-dt)/dt)
	}
	return quantile(d, 0.5)
}

func ptr(x float64) *float64 { return &x }
