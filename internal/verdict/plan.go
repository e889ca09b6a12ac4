package verdict

import (
	"fmt"
	"math"
	"strings"

	"cornerwright/internal/inference"
	"cornerwright/internal/say"
)

// planConfidence is the one-sided confidence of the scatter that plans and
// prices are made with: 80 %.
const planConfidence = 0.80

// Wish is what a plan is asked for.
type Wish struct {
	Turn    int
	Measure string
	Unit    string
	Effect  float64 // size that must be seen, > 0, in Unit
	Power   float64 // share of tries in which it is seen; 0 for 0.8
	// The rider's own scatter of this measure at this turn: laps of one setting
	// (History, several runs welcome), or a value with its degrees of freedom
	// (LapSDDF 0: known).
	History []Lap
	LapSD   float64
	LapSDDF float64
	// SlowShare is the share of laps that traffic and mistakes spoil; negative
	// takes it from History.
	SlowShare float64

	Reference, Trial string
	Block            int     // laps between switches of a pair order: 1 gives A B B A, 2 gives A A B B, 3 ...; 0 chooses
	Settle           int     // laps set aside after each switch
	LapTime          float64 // s; 0 unknown
	Minutes          float64 // track time at hand; 0 not limited
	MaxLaps          int     // timed laps that one run can hold (tyre, fuel); 0 for 24
	WarmLaps         int     // laps ridden before the first that counts, out lap included; 0 for 2
	NilCheck         bool    // reference against reference under two names
}

// CardLine is one lap of the printed order.
type CardLine struct {
	Run    int    `json:"run"` // 1, 2, ...
	Lap    int    `json:"lap"` // within the run, out lap is 1
	Slot   string `json:"slot"`
	Press  bool   `json:"press"`  // switch on the named straight before this lap
	Counts bool   `json:"counts"` // false for warm-up, in and settling laps
	Kind   string `json:"kind"`   // "out", "warm", "timed", "settling", "in"
}

// Option is one row of what the plan could be.
type Option struct {
	Order           string  `json:"order"`
	LapsEach        int     `json:"laps_each"` // kept laps a side
	Laps            int     `json:"laps"`      // ridden, with out, warm-up and in laps
	Minutes         float64 `json:"minutes,omitempty"`
	SmallestVisible float64 `json:"-"` // at the wished power
	Fits            bool    `json:"fits"`
}

// Plan is how many laps, in which slot and order, show the effect.
type Plan struct {
	Wish          Wish
	LapSD         float64 // estimated scatter of a lap
	LapSDDF       float64 // +Inf when known
	PlanSD        float64 // scatter planned with: upper 80 % bound of LapSD
	SlowShare     float64
	Enough        bool     // the order below reaches the wished power within the laps and minutes at hand
	Order         []string // slots of the counted and settling laps, one string per run: "ABBAABBA"
	LapsEach      int      // kept laps a side
	Laps          int      // ridden in all
	Minutes       float64  // 0 when the lap time is not known
	Factor        float64  // sd of the effect in lap sd, from this order with drift in the model
	SettleCost    float64  // width of this order against the same laps without settling laps; 1 = none
	Power         float64  // simulated with the method of the verdict, at PlanSD
	Visible       float64  // effect this order shows at the wished power
	VisibleInTime float64  // effect that the minutes and laps at hand can show; +Inf when none
	Options       []Option // from 4 laps each upward
	Card          []CardLine
	Lines         []say.Text // the card and its terms as text, ready to print
	Warnings      []say.Text
}

// MakePlan plans from the rider's own scatter. It errs when the wish cannot be
// planned for, and says what is missing.
func MakePlan(w Wish) (Plan, error) {
	if !(w.Effect > 0) || math.IsInf(w.Effect, 0) {
		return Plan{}, say.Error("plan: the effect to be shown must be above 0 {unit}, got {effect}; give the smallest change worth having, such as 0.08 s", w.Unit, w.Effect)
	}
	if w.Power == 0 {
		w.Power = 0.8
	}
	if !(w.Power >= 0.5 && w.Power <= 0.99) {
		return Plan{}, say.Error("plan: power {power} is outside 0.5 to 0.99; 0.8 is usual", w.Power)
	}
	if w.Reference == "" {
		w.Reference = "A"
	}
	if w.Trial == "" {
		w.Trial = "B"
	}
	if w.Reference == w.Trial {
		return Plan{}, say.Error("plan: reference and trial are both {trial}; for reference against reference give the same settings two names", fmt.Sprintf("%q", w.Trial))
	}
	if w.MaxLaps == 0 {
		w.MaxLaps = 24
	}
	if w.WarmLaps == 0 {
		w.WarmLaps = 2
	}
	if w.Block == 0 {
		w.Block = 1
		if w.Settle > 0 {
			w.Block = 2 + w.Settle
		}
	}
	if w.Settle >= w.Block && w.Settle > 0 {
		return Plan{}, say.Error("plan: {settle} {settle|lap|laps} to settle after each switch leave nothing of blocks of {block}", w.Settle, w.Block)
	}
	p := Plan{Wish: w, LapSD: w.LapSD, LapSDDF: w.LapSDDF, SlowShare: math.Max(0, w.SlowShare)}
	if len(w.History) > 0 {
		sd, df, slow, err := Scatter(w.History)
		if err != nil {
			return Plan{}, say.Error("plan: {why}", err)
		}
		p.LapSD, p.LapSDDF = sd, df
		if w.SlowShare < 0 {
			p.SlowShare = slow
		}
	}
	if !(p.LapSD > 0) {
		return Plan{}, say.Error("plan: the scatter of {turn} is not known; add a run with at least 5 timed laps in one slot, or state the lap sd", title(w.Turn, w.Measure))
	}
	p.PlanSD = p.LapSD
	if p.LapSDDF > 0 && !math.IsInf(p.LapSDDF, 1) {
		p.PlanSD = inference.SDUpper(p.LapSD, p.LapSDDF, planConfidence)
	} else {
		p.LapSDDF = math.Inf(1)
	}
	p.choose()
	return p, nil
}

// write makes the card.
func (p *Plan) write() {
	w := &p.Wish
	name := map[byte]string{'A': w.Reference, 'B': w.Trial}
	for r, s := range p.Order {
		lap := 0
		add := func(slot string, press, counts bool, kind string) {
			lap++
			p.Card = append(p.Card, CardLine{r + 1, lap, slot, press, counts, kind})
		}
		for i := range w.WarmLaps {
			kind := "warm"
			if i == 0 {
				kind = "out"
			}
			add(w.Reference, false, false, kind)
		}
		since := w.Settle
		for i := range len(s) {
			press := i > 0 && s[i] != s[i-1]
			if press {
				since = 0
			}
			kind := "timed"
			if since < w.Settle {
				kind = "settling"
			}
			since++
			add(name[s[i]], press, kind == "timed", kind)
		}
		add(w.Reference, s[len(s)-1] != 'A', false, "in")
	}
	sd := p.PlanSD
	line := func(t say.Text) { p.Lines = append(p.Lines, t) }
	if w.NilCheck {
		line(say.T("Check of the method: {reference} and {trial} hold the same settings; better or worse would be a false alarm.", w.Reference, w.Trial))
	}
	line(say.T("To show {effect} in {measure}: {laps} each in slots {reference} and {trial}.", quantity(w.Effect, w.Effect/2, w.Unit), title(w.Turn, w.Measure), count(p.LapsEach, "clean lap"), w.Reference, w.Trial))
	for r, s := range p.Order {
		var b strings.Builder
		for i := range len(s) {
			if i > 0 {
				if s[i] == s[i-1] {
					b.WriteString(" ")
				} else {
					b.WriteString(" | ")
				}
			}
			b.WriteString(name[s[i]])
		}
		order := say.T("{laps} to warm up in {reference}, then {order}, then in. A bar is a press of the switch, always on the same straight.", count(w.WarmLaps, "lap"), w.Reference, b.String())
		if len(p.Order) > 1 {
			order = say.T("Run {run}: {order}", r+1, order)
		}
		line(order)
	}
	if p.Minutes > 0 {
		line(say.T("{laps} ridden, about {minutes} min.", count(p.Laps, "lap"), fmt.Sprintf("%.0f", math.Ceil(p.Minutes))))
	} else {
		line(say.T("{laps} ridden.", count(p.Laps, "lap")))
	}
	from := say.T("known")
	if !math.IsInf(p.LapSDDF, 1) {
		from = say.T("upper 80 % bound of {sd} from {df} df", quantity(p.LapSD, p.LapSD, w.Unit), fmt.Sprintf("%.0f", p.LapSDDF))
	}
	line(say.T("Scatter of a lap planned with: {sd} ({from}). Chance to see the effect: {power} %.", quantity(sd, sd, w.Unit), from, fmt.Sprintf("%.0f", 100*p.Power)))
	if p.SettleCost > 1.005 {
		line(say.T("Laps to settle cost {share} % of width.", fmt.Sprintf("%.0f", 100*(p.SettleCost-1))))
	}
	if !p.Enough {
		text := say.T("The effect is out of reach at this scatter with laps alone: choose a measure closer to the change.")
		if !math.IsInf(p.VisibleInTime, 1) {
			text = say.T("Not enough: the laps and minutes at hand show {effect} at best.", quantity(p.VisibleInTime, p.VisibleInTime/5, w.Unit))
		}
		p.Warnings = append(p.Warnings, text)
		line(text)
	}
	if p.SlowShare > 0 {
		line(say.T("Allows for {share} % of laps spoilt by traffic or mistakes.", fmt.Sprintf("%.0f", 100*p.SlowShare)))
	}
	line(say.T("Do not stop early because it looks good: looking after every block doubles the false alarms."))
}
