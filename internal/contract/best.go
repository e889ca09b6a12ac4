package contract

import (
	"fmt"
	"math"

	"cornerwright/internal/ride"
)

// BestLap is the best realistic lap: sections that single laps rode, joined only
// where both laps passed the place at nearly the same speed.
type BestLap struct {
	TimeS    float64       `json:"time_s"`
	TimeSES  *float64      `json:"time_se_s,omitempty"` // standard error from the position estimate
	Sections []BestSection `json:"sections"`
}

// Half is half of the 95 % interval of the time in s, nil where it is not known.
func (b BestLap) Half() *float64 {
	if b.TimeSES == nil {
		return nil
	}
	return opt(1.96**b.TimeSES, 4)
}

// BestSection is a stretch of it.
type BestSection struct {
	FromM    float64 `json:"from_m"` // from the gate along the line
	ToM      float64 `json:"to_m"`
	FromTurn int     `json:"from_turn"` // turns whose windows it holds; 0 for none
	ToTurn   int     `json:"to_turn"`
	Lap      int     `json:"lap"`
	TimeS    float64 `json:"time_s"`
	GainS    float64 `json:"gain_s"` // against the best whole lap
}

// Turns names the turns of the section, as 4 or 9–10; where it has none, the gate that
// it begins at, or a dash.
func (s BestSection) Turns() string {
	switch {
	case s.FromTurn == 0 && s.FromM == 0:
		return "gate"
	case s.FromTurn == 0:
		return "–"
	case s.FromTurn == s.ToTurn:
		return fmt.Sprint(s.FromTurn)
	}
	return fmt.Sprintf("%d–%d", s.FromTurn, s.ToTurn)
}

// NewBestLap builds it; nil where there is none.
func NewBestLap(x *ride.Ride, spoilt map[int]string) *BestLap {
	b, ok := x.BestLap(spoilt)
	if !ok {
		return nil
	}
	out := &BestLap{TimeS: *opt(b.Time, 4), TimeSES: positive(b.SE, 4), Sections: []BestSection{}}
	for _, s := range b.Sections {
		q := BestSection{FromM: *opt(s.From, 1), ToM: *opt(s.To, 1), Lap: s.Lap, TimeS: *opt(s.Time, 4), GainS: *opt(s.Gain, 4)}
		for _, t := range x.Circuit.Turns {
			if t.Apex >= s.From && t.Apex < s.To {
				if q.FromTurn == 0 {
					q.FromTurn = t.Number
				}
				q.ToTurn = t.Number
			}
		}
		out.Sections = append(out.Sections, q)
	}
	return out
}

// Between is how two laps of a run differ, turn by turn.
type Between struct {
	LapA  int           `json:"lap_a"`
	LapB  int           `json:"lap_b"`
	Turns []BetweenTurn `json:"turns"`
}

// BetweenTurn is lap B less lap A over one turn's window.
type BetweenTurn struct {
	Turn        int      `json:"turn"`
	A           float64  `json:"a_s"`
	B           float64  `json:"b_s"`
	DifferenceS float64  `json:"difference_s"`
	SES         *float64 `json:"difference_se_s,omitempty"` // from the position estimate
	SoFarS      *float64 `json:"so_far_s,omitempty"`        // at the end of the turn's window, counted from the gate
	SoFarSES    *float64 `json:"so_far_se_s,omitempty"`     // from the position estimate, rather too much
}

// NewBetween compares two laps of a run; turns that either did not ride whole are
// left out.
func NewBetween(x *ride.Ride, a, b int) *Between {
	out := &Between{LapA: a, LapB: b, Turns: []BetweenTurn{}}
	find := func(lap, turn int) *ride.Pass {
		for i := range x.Passes {
			if p := &x.Passes[i]; p.Lap == lap && p.Turn == turn && p.Whole && !math.IsNaN(p.Segment) {
				return p
			}
		}
		return nil
	}
	apart, apartSE := x.Matrix.Delta(a, b), x.Matrix.DeltaSE(a, b)
	for _, t := range x.Circuit.Turns {
		p, q := find(a, t.Number), find(b, t.Number)
		if p == nil || q == nil || apart == nil {
			continue
		}
		end := len(apart) - 1 // the window of the last turn may reach past the gate
		if t.To > t.From {
			end = min(end, int(math.Round(t.To/x.Matrix.Step)))
		}
		out.Turns = append(out.Turns, BetweenTurn{Turn: t.Number, A: *opt(p.Segment, 4), B: *opt(q.Segment, 4),
			DifferenceS: *opt(q.Segment-p.Segment, 4), SES: positive(math.Hypot(p.SegmentSE, q.SegmentSE), 4), SoFarS: opt(apart[end], 4), SoFarSES: positive(apartSE[end], 4)})
	}
	return out
}
