package verdict

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"

	"cornerwright/internal/say"
)

// unitSuffix is the ending of JSON field names for a unit: "s" gives effect_s,
// "km/h" effect_kmh, "%" effect_pct, "m/s2" effect_mps2, "" plain effect. A
// unit that is not in the table keeps its letters and digits.
func unitSuffix(unit string) string {
	switch unit {
	case "":
		return ""
	case "%":
		return "_pct"
	case "m/s":
		return "_mps"
	case "m/s2", "m/s²":
		return "_mps2"
	case "°":
		return "_deg"
	case "1/min":
		return "_rpm"
	}
	var b strings.Builder
	for _, r := range strings.ToLower(unit) {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			b.WriteRune(r)
		}
	}
	return "_" + b.String()
}

// object writes a JSON object field by field in a fixed order; unknown values
// (NaN, infinite, empty) are absent.
type object struct {
	b   bytes.Buffer
	err error
}

func (o *object) raw(name string, v any) {
	if o.err != nil {
		return
	}
	j, err := json.Marshal(v)
	if err != nil {
		o.err = say.Error("{name}: {why}", name, err)
		return
	}
	if o.b.Len() == 0 {
		o.b.WriteByte('{')
	} else {
		o.b.WriteByte(',')
	}
	fmt.Fprintf(&o.b, "%q:", name)
	o.b.Write(j)
}

func (o *object) num(name string, x float64) {
	if !math.IsNaN(x) && !math.IsInf(x, 0) {
		o.raw(name, x)
	}
}

func (o *object) text(name string, t say.Text) {
	if t != "" {
		o.raw(name, t)
	}
}

func (o *object) str(name, s string) {
	if s != "" {
		o.raw(name, s)
	}
}

func (o *object) yes(name string, b bool) {
	if b {
		o.raw(name, true)
	}
}

func (o *object) close() ([]byte, error) {
	if o.err != nil {
		return nil, o.err
	}
	if o.b.Len() == 0 {
		o.b.WriteByte('{')
	}
	o.b.WriteByte('}')
	return o.b.Bytes(), nil
}

// MarshalJSON writes the effect as the JSON contract has it; numbers in the
// measure's unit end in it.
func (e Effect) MarshalJSON() ([]byte, error) { return e.json("p", e.P) }

// watched is an effect of the watch list, whose p is the corrected one.
type watched Effect

func (w watched) MarshalJSON() ([]byte, error) { return Effect(w).json("p_adj", w.PAdj) }

func (e Effect) json(pName string, p float64) ([]byte, error) {
	u := unitSuffix(e.Unit)
	var o object
	if e.Turn > 0 {
		o.raw("turn", e.Turn)
	}
	o.raw("measure", e.Measure)
	o.str("unit", e.Unit)
	o.num("effect"+u, e.Value)
	o.num("lo"+u, e.Lo)
	o.num("hi"+u, e.Hi)
	o.num("lo90"+u, e.Lo90)
	o.num("hi90"+u, e.Hi90)
	o.num(pName, p)
	o.raw("n_ref", e.NRef)
	o.raw("n_trial", e.NTrial)
	o.raw("answer", e.Answer)
	o.str("tier", string(e.Tier))
	if e.Better != Neutral {
		o.raw("better", map[Direction]string{Lower: "lower", Higher: "higher"}[e.Better])
	}
	if e.Matters > 0 {
		o.num("matters"+u, e.Matters)
	}
	o.num("se"+u, e.SE)
	if e.DF > 0 {
		o.num("df", e.DF)
	}
	o.num("lap_sd"+u, e.LapSD)
	o.num("smallest_visible"+u, e.SmallestVisible)
	o.yes("smaller_than_matters", e.Small)
	o.str("moved", e.Moved)
	o.yes("caution", e.Caution)
	if e.AssumedRunSD > 0 {
		o.num("run_sd"+u, e.AssumedRunSD)
		o.raw("run_sd_from", map[bool]string{true: "repeats", false: "assumed"}[e.LearntRunSD])
		if e.TippingRunSD > 0 {
			o.num("tipping_run_sd"+u, e.TippingRunSD)
		}
	}
	if e.CarriedFrom > 0 {
		o.raw("carried_from_turn", e.CarriedFrom)
	}
	if len(e.Struck) > 0 {
		var list []json.RawMessage
		for _, s := range e.Struck {
			var so object
			so.raw("run", s.Run)
			so.raw("lap", s.Lap)
			so.raw("slot", s.Slot)
			so.num("value"+u, s.Value)
			so.raw("reason", s.Reason)
			j, err := so.close()
			if err != nil {
				return nil, err
			}
			list = append(list, j)
		}
		o.raw("struck", list)
	}
	if a := e.All; a != nil {
		var ao object
		ao.num("effect"+u, a.Effect)
		ao.num("lo"+u, a.Lo)
		ao.num("hi"+u, a.Hi)
		ao.raw("n_ref", a.NRef)
		ao.raw("n_trial", a.NTrial)
		ao.raw("answer", a.Answer)
		j, err := ao.close()
		if err != nil {
			return nil, err
		}
		o.raw("with_all_laps", json.RawMessage(j))
	}
	if n := e.Needed; n != nil {
		var no object
		if n.Laps > 0 {
			no.raw("laps_a_side", n.Laps)
		}
		if n.Runs > 0 {
			no.raw("runs_a_side", n.Runs)
		}
		no.raw("text", n.Text)
		j, err := no.close()
		if err != nil {
			return nil, err
		}
		o.raw("needed", json.RawMessage(j))
	}
	if len(e.Warnings) > 0 {
		o.raw("warnings", e.Warnings)
	}
	o.text("note", e.Note)
	return o.close()
}

// MarshalJSON writes the answer of `verdict --json`.
func (v Verdict) MarshalJSON() ([]byte, error) {
	var o object
	o.str("step", v.Step)
	o.raw("design", v.Design)
	o.str("reference", v.Reference)
	o.str("trial", v.Trial)
	o.yes("nil_check", v.NilCheck)
	o.raw("primary", v.Primary)
	if len(v.Declared) > 0 {
		o.raw("declared", watchedList(v.Declared))
	}
	o.raw("watch", watchedList(v.Watch))
	conditions := v.Conditions
	if conditions == nil {
		conditions = []Condition{}
	}
	o.raw("conditions", conditions)
	o.num("smallest_visible"+unitSuffix(v.Primary.Unit), v.Primary.SmallestVisible)
	if v.Refusal != nil {
		o.raw("refused", v.Refusal)
	}
	o.str("mechanism", string(v.Mechanism))
	o.str("outcome", string(v.Outcome))
	o.text("tiers", v.Tiers)
	o.text("rider", v.Rider)
	o.text("engineer", v.Engineer)
	return o.close()
}

func watchedList(es []Effect) []watched {
	w := make([]watched, len(es))
	for i, e := range es {
		w[i] = watched(e)
	}
	return w
}

// UnmarshalJSON reads back what MarshalJSON wrote of an effect: names, numbers
// and answer, not the laps. Values that were absent are NaN.
func (e *Effect) UnmarshalJSON(data []byte) error {
	var head struct {
		Turn    int      `json:"turn"`
		Measure string   `json:"measure"`
		Unit    string   `json:"unit"`
		Answer  Answer   `json:"answer"`
		Tier    Tier     `json:"tier"`
		Better  string   `json:"better"`
		NRef    int      `json:"n_ref"`
		NTrial  int      `json:"n_trial"`
		P       *float64 `json:"p"`
		PAdj    *float64 `json:"p_adj"`
		DF      float64  `json:"df"`
		Note    say.Text `json:"note"`
	}
	var raw map[string]json.RawMessage
	if err := errors.Join(json.Unmarshal(data, &head), json.Unmarshal(data, &raw)); err != nil {
		return err
	}
	u := unitSuffix(head.Unit)
	num := func(name string) float64 {
		x := math.NaN()
		if r, ok := raw[name]; ok {
			json.Unmarshal(r, &x)
		}
		return x
	}
	*e = blank(Measure{Turn: head.Turn, Name: head.Measure, Unit: head.Unit, Tier: head.Tier,
		Better: map[string]Direction{"lower": Lower, "higher": Higher}[head.Better]})
	e.Answer, e.NRef, e.NTrial, e.N, e.DF, e.Note = head.Answer, head.NRef, head.NTrial, head.NRef+head.NTrial, head.DF, head.Note
	e.Value, e.Lo, e.Hi, e.SE = num("effect"+u), num("lo"+u), num("hi"+u), num("se"+u)
	e.Lo90, e.Hi90, e.LapSD = num("lo90"+u), num("hi90"+u), num("lap_sd"+u)
	e.P, e.PAdj = num("p"), num("p_adj")
	if m := num("matters" + u); m > 0 {
		e.Matters = m
	}
	return nil
}

// UnmarshalJSON reads a verdict back from its own JSON, as far as a season needs
// it: design, effects, conditions and refusal, not the laps behind them.
func (v *Verdict) UnmarshalJSON(data []byte) error {
	var x struct {
		Step       string      `json:"step"`
		Design     Design      `json:"design"`
		Reference  string      `json:"reference"`
		Trial      string      `json:"trial"`
		NilCheck   bool        `json:"nil_check"`
		Primary    Effect      `json:"primary"`
		Declared   []Effect    `json:"declared"`
		Watch      []Effect    `json:"watch"`
		Conditions []Condition `json:"conditions"`
		Refused    *Refusal    `json:"refused"`
		Mechanism  Answer      `json:"mechanism"`
		Outcome    Answer      `json:"outcome"`
		Tiers      say.Text    `json:"tiers"`
		Rider      say.Text    `json:"rider"`
		Engineer   say.Text    `json:"engineer"`
	}
	if err := json.Unmarshal(data, &x); err != nil {
		return err
	}
	*v = Verdict{Step: x.Step, Design: x.Design, Reference: x.Reference, Trial: x.Trial, NilCheck: x.NilCheck, Primary: x.Primary,
		Declared: x.Declared, Watch: x.Watch, Conditions: x.Conditions, Refusal: x.Refused, Mechanism: x.Mechanism, Outcome: x.Outcome,
		Tiers: x.Tiers, Rider: x.Rider, Engineer: x.Engineer}
	return nil
}
