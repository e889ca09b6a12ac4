package contract

import (
	"cornerwright/internal/bike"
	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
)

// Gate is the start gate: where it is and which way the lap runs through it.
type Gate struct {
	LatDeg     *float64 `json:"lat_deg,omitempty"`
	LonDeg     *float64 `json:"lon_deg,omitempty"`
	HeadingDeg *float64 `json:"heading_deg,omitempty"` // clockwise from north
}

// Lap is one lap. TimeS and TimeSES stand at timed laps only.
type Lap struct {
	Lap     int      `json:"lap"`
	Kind    string   `json:"kind"` // out, timed, in, broken
	StartS  *float64 `json:"start_s,omitempty"`
	EndS    *float64 `json:"end_s,omitempty"`
	TimeS   *float64 `json:"time_s,omitempty"`
	TimeSES *float64 `json:"time_se_s,omitempty"` // standard error from the position estimate
	Slot    string   `json:"slot,omitempty"`
	Marks   []string `json:"marks"`
}

// Laps is the answer of `laps RUN --json`.
type Laps struct {
	Run     int    `json:"run"`
	Circuit string `json:"circuit"`
	Gate    Gate   `json:"gate"`
	Laps    []Lap  `json:"laps"`
	// What the run's laps together show could be ridden, and with --between how two of
	// them differ.
	Best    *BestLap `json:"best,omitempty"`
	Between *Between `json:"between,omitempty"`
}

// NewLaps builds the answer. marks are people's marks by lap.
func NewLaps(run book.Run, c *circuit.Circuit, laps []circuit.Lap, marks map[int]string) Laps {
	out := Laps{Run: run.Number, Circuit: run.Circuit, Laps: []Lap{}}
	if c != nil && c.Line.Length > 0 {
		lat, lon, heading := c.Gate()
		out.Gate = Gate{LatDeg: degrees(lat, 8), LonDeg: degrees(lon, 8), HeadingDeg: degrees(heading, 2)}
	}
	for _, l := range laps {
		x := Lap{Lap: l.Number, Kind: string(l.Kind), StartS: opt(l.Start, 4), EndS: opt(l.End, 4), Slot: l.Slot, Marks: append([]string{}, say.Strings(l.Marks)...)}
		if x.Slot == "" {
			x.Slot = run.Slot
		}
		if l.Kind == circuit.TimedLap {
			x.TimeS, x.TimeSES = opt(l.Time(), 4), positive(l.TimeSE, 4)
		}
		if m := marks[l.Number]; m != "" {
			x.Marks = append(x.Marks, m)
		}
		out.Laps = append(out.Laps, x)
	}
	return out
}

// Turn is one turn of the circuit.
type Turn struct {
	Turn       int      `json:"turn"`
	Name       string   `json:"name,omitempty"`
	Direction  string   `json:"direction"` // left, right
	EntryM     *float64 `json:"entry_m,omitempty"`
	ApexM      *float64 `json:"apex_m,omitempty"`
	ExitM      *float64 `json:"exit_m,omitempty"`
	ApexLatDeg *float64 `json:"apex_lat_deg,omitempty"`
	ApexLonDeg *float64 `json:"apex_lon_deg,omitempty"`
	MinRadiusM *float64 `json:"min_radius_m,omitempty"`
	Kink       bool     `json:"kink,omitempty"` // taken flat or nearly so
}

// TurnPass is one lap through one turn. *_s of instants are on the recording's
// clock.
type TurnPass struct {
	Lap           int      `json:"lap"`
	Turn          int      `json:"turn"`
	Slot          string   `json:"slot,omitempty"`
	BrakeM        *float64 `json:"brake_m,omitempty"`
	BrakeS        *float64 `json:"brake_s,omitempty"`
	MinSpeedKmh   *float64 `json:"min_speed_kmh,omitempty"`
	MaxLeanDeg    *float64 `json:"max_lean_deg,omitempty"`
	PickupM       *float64 `json:"pickup_m,omitempty"`
	PickupS       *float64 `json:"pickup_s,omitempty"`
	FullThrottleS *float64 `json:"full_throttle_s,omitempty"`
	EntryTimeS    *float64 `json:"entry_time_s,omitempty"`
	ExitTimeS     *float64 `json:"exit_time_s,omitempty"`
	SegmentS      *float64 `json:"segment_s,omitempty"`
	SegmentSES    *float64 `json:"segment_se_s,omitempty"`
	EntrySpeedKmh *float64 `json:"entry_speed_kmh,omitempty"`
	ExitSpeedKmh  *float64 `json:"exit_speed_kmh,omitempty"`
	MeanDecelMps2 *float64 `json:"mean_decel_mps2,omitempty"`
	CutTimeS      *float64 `json:"cut_time_s,omitempty"`
	PeakSlipPct   *float64 `json:"peak_slip_pct,omitempty"`
	PushS         *float64 `json:"push_s,omitempty"`
	SurplusRpm    *float64 `json:"surplus_rpm,omitempty"`
	AirTimeS      *float64 `json:"air_time_s,omitempty"`
	LimiterS      *float64 `json:"limiter_s,omitempty"`
	MinGear       int      `json:"min_gear,omitempty"`
	Whole         bool     `json:"whole"` // the recording covers the whole window
	Marks         []string `json:"marks,omitempty"`
}

// Turns is the answer of `turns RUN --json`.
type Turns struct {
	Run     int        `json:"run"`
	Circuit string     `json:"circuit"`
	LengthM *float64   `json:"length_m,omitempty"`
	Turns   []Turn     `json:"turns"`
	Passes  []TurnPass `json:"passes"`
}

// NewTurns builds the answer.
func NewTurns(run book.Run, c *circuit.Circuit, passes []ride.Pass) Turns {
	out := Turns{Run: run.Number, Circuit: run.Circuit, LengthM: positive(c.Line.Length, 1), Turns: []Turn{}, Passes: []TurnPass{}}
	for _, t := range c.Turns {
		x := Turn{Turn: t.Number, Name: t.Name, Direction: string(t.Direction), EntryM: opt(t.Entry, 1), ApexM: opt(t.Apex, 1), ExitM: opt(t.Exit, 1),
			MinRadiusM: positive(t.MinRadius, 1), Kink: t.Kink}
		px, py, _, _ := c.Line.At(t.Apex)
		lat, lon := c.Frame.LatLon(px, py)
		x.ApexLatDeg, x.ApexLonDeg = degrees(lat, 8), degrees(lon, 8)
		out.Turns = append(out.Turns, x)
	}
	for i := range passes {
		p := &passes[i]
		out.Passes = append(out.Passes, TurnPass{Lap: p.Lap, Turn: p.Turn, Slot: p.Slot, BrakeM: opt(p.BrakeM, 2), BrakeS: opt(p.Brake, 4),
			MinSpeedKmh: kmh(p.MinSpeed), MaxLeanDeg: degrees(p.MaxLean, 2), PickupM: opt(p.PickupM, 2), PickupS: opt(p.Pickup, 4),
			FullThrottleS: opt(p.FullThrottle, 4), EntryTimeS: opt(p.EntryTime, 4), ExitTimeS: opt(p.ExitTime, 4), SegmentS: opt(p.Segment, 4),
			SegmentSES: positive(p.SegmentSE, 4), EntrySpeedKmh: kmh(p.EntrySpeed), ExitSpeedKmh: kmh(p.ExitSpeed), MeanDecelMps2: opt(p.MeanDecel, 3),
			CutTimeS: opt(p.CutTime, 4), PeakSlipPct: pct(p.PeakSlip), PushS: opt(p.Push, 4), SurplusRpm: opt(p.Surplus, 0), AirTimeS: opt(p.AirTime, 3),
			LimiterS: opt(p.LimiterTime, 3), MinGear: p.MinGear, Whole: p.Whole, Marks: say.Strings(p.Marks)})
	}
	return out
}

// Episode is a stretch of time in which something happened. Shares and slips
// are in percent; a blip and an upshift add their own fields.
type Episode struct {
	Kind      string   `json:"kind"`
	Lap       int      `json:"lap"`
	Turn      int      `json:"turn,omitempty"` // absent outside every turn
	Phase     string   `json:"phase,omitempty"`
	StartS    *float64 `json:"start_s,omitempty"`
	EndS      *float64 `json:"end_s,omitempty"`
	PlaceM    *float64 `json:"place_m,omitempty"`
	PeakPct   *float64 `json:"peak_pct,omitempty"`
	MeanPct   *float64 `json:"mean_pct,omitempty"`
	LeanDeg   *float64 `json:"lean_deg,omitempty"`
	SpeedKmh  *float64 `json:"speed_kmh,omitempty"`
	Gear      int      `json:"gear,omitempty"`
	LeanClass string   `json:"lean_class,omitempty"` // at-max-lean, picking-up, upright
	Inferred  bool     `json:"inferred"`             // no channel states it
	SlipPct   *float64 `json:"slip_pct,omitempty"`
	CostS     *float64 `json:"cost_s,omitempty"`
	CostLoS   *float64 `json:"cost_lo_s,omitempty"`
	CostHiS   *float64 `json:"cost_hi_s,omitempty"`
	Mark      string   `json:"mark,omitempty"`

	FromGear     *int     `json:"from_gear,omitempty"`
	ToGear       *int     `json:"to_gear,omitempty"`
	GripPeakPct  *float64 `json:"grip_peak_pct,omitempty"`
	RpmNeeded    *float64 `json:"rpm_needed,omitempty"`
	RpmPeak      *float64 `json:"rpm_peak,omitempty"`
	SurplusRpm   *float64 `json:"surplus_rpm,omitempty"`
	Limiter      *bool    `json:"limiter,omitempty"`
	PushS        *float64 `json:"push_s,omitempty"`
	PushMps2     *float64 `json:"push_mps2,omitempty"`
	GapS         *float64 `json:"gap_s,omitempty"`
	CutLengthS   *float64 `json:"cut_length_s,omitempty"`
	OvershootRpm *float64 `json:"overshoot_rpm,omitempty"`
}

// Episodes is the answer of `episodes RUN --json`.
type Episodes struct {
	Run      int       `json:"run"`
	Episodes []Episode `json:"episodes"`
}

// NewEpisodes builds the answer.
func NewEpisodes(run book.Run, es []ride.Episode) Episodes {
	out := Episodes{Run: run.Number, Episodes: []Episode{}}
	for i := range es {
		e := &es[i]
		x := Episode{Kind: string(e.Kind), Lap: e.Lap, Turn: e.Turn, Phase: string(e.Phase), StartS: opt(e.Start, 4), EndS: opt(e.End, 4), PlaceM: opt(e.Place, 1),
			LeanDeg: degrees(e.Lean, 2), SpeedKmh: kmh(e.Speed), Gear: max(0, e.Gear), LeanClass: string(e.LeanClass), Inferred: e.Inferred, Mark: e.Marked.String()}
		switch e.Kind {
		case ride.Cut, ride.Spin, ride.Lock:
			x.PeakPct, x.MeanPct = pct(e.Peak), pct(e.Mean)
		}
		if e.Kind == ride.Cut && e.Slip != 0 {
			x.SlipPct = pct(e.Slip)
		}
		if e.Cost.OK {
			x.CostS, x.CostLoS, x.CostHiS = opt(e.Cost.Value, 4), opt(e.Cost.Lo, 4), opt(e.Cost.Hi, 4)
		}
		if s := e.Shift; s != nil {
			if s.FromGear > 0 {
				x.FromGear = &s.FromGear
			}
			if s.ToGear > 0 {
				x.ToGear = &s.ToGear
			}
			if e.Kind == ride.Blip {
				x.GripPeakPct, x.RpmNeeded, x.RpmPeak, x.SurplusRpm = pct(s.GripPeak), positive(s.Needed, 0), positive(s.Peak, 0), opt(s.Surplus, 0)
				limiter := s.Limiter
				x.Limiter, x.PushS, x.PushMps2 = &limiter, opt(s.Push, 4), opt(s.PushAccel, 3)
			} else {
				x.GapS, x.CutLengthS, x.OvershootRpm = positive(s.Gap, 4), positive(s.CutLength, 4), opt(s.Step, 0)
			}
		}
		out.Episodes = append(out.Episodes, x)
	}
	return out
}

// Tyre is what a run says about one tyre; absent values were not identified and
// Why says the reason.
type Tyre struct {
	CircumferenceM *float64 `json:"circumference_m,omitempty"`
	SEM            *float64 `json:"se_m,omitempty"`
	CrownRadiusM   *float64 `json:"crown_radius_m,omitempty"`
	CrownSEM       *float64 `json:"crown_se_m,omitempty"`
	Identified     bool     `json:"identified"`
	Why            string   `json:"why,omitempty"`
}

// Tyres is the answer of `tyres RUN --json`.
type Tyres struct {
	Run     int      `json:"run"`
	Front   Tyre     `json:"front"`
	Rear    Tyre     `json:"rear"`
	Samples int      `json:"samples"`
	Notes   []string `json:"notes"`
}

// NewTyres builds the answer.
func NewTyres(run book.Run, t bike.Tyres) Tyres {
	one := func(f bike.TyreFit) Tyre {
		if !f.Identified {
			return Tyre{Why: f.Why.String()}
		}
		return Tyre{CircumferenceM: positive(f.Circumference, 4), SEM: positive(f.CircumferenceSE, 5), CrownRadiusM: positive(f.Crown, 4), CrownSEM: positive(f.CrownSE, 5), Identified: true}
	}
	return Tyres{Run: run.Number, Front: one(t.Front), Rear: one(t.Rear), Samples: t.Samples, Notes: list(t.Notes)}
}
