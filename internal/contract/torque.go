package contract

import (
	"cornerwright/internal/book"
	"cornerwright/internal/ride"
)

// Torque is the answer of `torque RUN RUN --json`: what the second run gives
// over the first at full throttle, within a range of engine speed. Intervals
// are of 95 %. Unknown values are absent; WhyNot tells why.
type Torque struct {
	RunA          int         `json:"run_a"`
	RunB          int         `json:"run_b"`
	FromRPM       float64     `json:"from_rpm"`
	ToRPM         float64     `json:"to_rpm"`
	LapsA         int         `json:"laps_a"`
	LapsB         int         `json:"laps_b"`
	DifferenceNM  *float64    `json:"difference_nm,omitempty"` // at the crank, B less A
	LoNM          *float64    `json:"lo_nm,omitempty"`
	HiNM          *float64    `json:"hi_nm,omitempty"`
	DifferencePct *float64    `json:"difference_pct,omitempty"` // of A's torque
	LoPct         *float64    `json:"lo_pct,omitempty"`
	HiPct         *float64    `json:"hi_pct,omitempty"`
	RearTeeth     *float64    `json:"rear_teeth,omitempty"` // worth as many teeth of the rear sprocket
	PerKilogramNM *float64    `json:"per_kg_nm,omitempty"`  // what a kilogram more on B would hide
	WhyNot        string      `json:"withheld,omitempty"`   // where there is no difference to give
	Bins          []TorqueBin `json:"bins"`
	Notes         []string    `json:"notes"`
}

// TorqueBin is the difference at one engine speed, the lower edge of the bin.
type TorqueBin struct {
	RPM          float64  `json:"rpm"`
	DifferenceNM *float64 `json:"difference_nm,omitempty"`
	LoNM         *float64 `json:"lo_nm,omitempty"`
	HiNM         *float64 `json:"hi_nm,omitempty"`
	WhyNot       string   `json:"withheld,omitempty"`
}

// NewTorque builds the answer.
func NewTorque(a, b book.Run, d ride.TorqueDifference) Torque {
	out := Torque{RunA: a.Number, RunB: b.Number, FromRPM: d.From, ToRPM: d.To, LapsA: d.LapsA, LapsB: d.LapsB, Bins: []TorqueBin{}, Notes: list(d.Notes)}
	if !d.Crank.OK {
		out.WhyNot = d.Crank.Why
		return out
	}
	out.DifferenceNM, out.LoNM, out.HiNM = opt(d.Crank.Value, 2), opt(d.Crank.Lo, 2), opt(d.Crank.Hi, 2)
	out.DifferencePct, out.LoPct, out.HiPct = pct(d.Share.Value), pct(d.Share.Lo), pct(d.Share.Hi)
	out.RearTeeth, out.PerKilogramNM = opt(d.RearTeeth, 2), opt(d.PerKg, 3)
	for _, x := range d.Bins {
		bin := TorqueBin{RPM: x.RPM, WhyNot: x.Torque.Why}
		if x.Torque.OK {
			bin = TorqueBin{RPM: x.RPM, DifferenceNM: opt(x.Torque.Value, 2), LoNM: opt(x.Torque.Lo, 2), HiNM: opt(x.Torque.Hi, 2)}
		}
		out.Bins = append(out.Bins, bin)
	}
	return out
}
