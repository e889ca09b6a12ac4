package verdict

import (
	"math"
	"strconv"
	"strings"

	"cornerwright/internal/say"
)

// tiers sums up mechanism and outcome at the primary's turn.
func (v *Verdict) tiers() {
	all := append([]Effect{v.Primary}, v.Declared...)
	for _, e := range v.Watch {
		if e.Turn == v.Primary.Turn {
			all = append(all, e)
		}
	}
	for _, t := range []Tier{Mechanism, Outcome} {
		var a Answer
		for _, e := range all {
			if e.Tier == t {
				a = graver(a, e.Answer)
			}
		}
		if t == Mechanism {
			v.Mechanism = a
		} else {
			v.Outcome = a
		}
	}
	if v.Refusal != nil || v.Mechanism == "" || v.Outcome == "" {
		return
	}
	switch {
	case v.Mechanism == Better && v.Outcome == Better:
		v.Tiers = say.T("it does what it should, and it pays")
	case v.Mechanism == Better && v.Outcome == Worse:
		v.Tiers = say.T("it does what it should, and it costs")
	case v.Mechanism == Better && v.Outcome == NoDifference:
		v.Tiers = say.T("it does what it should, and it is worth nothing that matters")
	case v.Mechanism == Better:
		v.Tiers = say.T("it does what it should; time and speed are not proven")
	case v.Outcome == Better:
		v.Tiers = say.T("it pays, and the mechanism behind it is not shown")
	case v.Outcome == Worse:
		v.Tiers = say.T("it costs, and the mechanism behind it is not shown")
	case v.Mechanism == Worse:
		v.Tiers = say.T("it does the opposite of what it should")
	default:
		v.Tiers = say.T("neither the mechanism nor its worth is shown")
	}
}

// graver joins answers of one tier: harm first, then gain, then no difference.
func graver(a, b Answer) Answer {
	rank := map[Answer]int{"": 0, NotEnoughLaps: 1, NoDifference: 2, Better: 3, Worse: 4}
	if rank[b] > rank[a] {
		return b
	}
	return a
}

// words writes the sentences.
func (v *Verdict) words(q *Question) {
	e := &v.Primary
	where := say.T("The lap")
	if e.Turn > 0 {
		where = say.T("Turn {turn}", e.Turn)
	}
	if r := v.Refusal; r != nil {
		v.Rider = say.T("{where}: cannot tell. {why^}.", where, r.Reason)
		v.Engineer = say.T("Refused ({kind}): {why}. What would do: {remedy}.", say.Key(r.Kind), r.Reason, r.Remedy)
		if e.Known() {
			v.Engineer += " " + say.T("For what it is worth, {numbers}.", e.numbers(v))
		}
		return
	}
	laps, measure := lapCounts(e), say.Key(e.Measure)
	switch e.Answer {
	case Better, Worse:
		v.Rider = say.T("{where}: {answer}. With {trial} it is {change}, likely between {between} ({laps}).", where, say.Key(string(e.Answer)), q.Trial, e.change(), e.between(), laps)
		if e.Unit == "s" && e.Tier == Mechanism {
			v.Rider = say.T("{where}: {answer}. With {trial} there is {change}, likely between {between} ({laps}).", where, say.Key(string(e.Answer)), q.Trial, e.change(), e.between(), laps)
		}
		if e.Small {
			v.Rider += " " + say.T("Less than what matters to us.")
		}
	case NoDifference:
		v.Rider = say.T("{where}: same for our purpose. Any difference in {measure} is smaller than {matters} ({laps}).", where, measure, quantity(e.Matters, e.SE, e.Unit), laps)
	default:
		v.Rider = say.T("{where}: cannot tell yet. The change in {measure} lies between {lo} and {hi} ({laps}).", where, measure, signed(e.Lo, e.SE, e.Unit), signed(e.Hi, e.SE, e.Unit), laps)
		if e.Needed != nil {
			v.Rider += " " + say.T("{needed^}.", e.Needed.Text)
		}
	}
	if v.NilCheck {
		v.Rider += " " + say.T("Both names held the same settings.")
	}
	b := say.T("{what^}, {design}: {numbers}; lap sd {sd}; smallest effect this order finds 4 times in 5: {smallest}.", title(e.Turn, e.Measure), say.Key(string(v.Design)), e.numbers(v),
		quantity(e.LapSD, e.LapSD, e.Unit), quantity(e.SmallestVisible, e.SE, e.Unit))
	if len(e.Struck) > 0 {
		var list []say.Text
		for _, s := range e.Struck {
			t := say.T("lap {lap} {slot} ({value}, {why})", s.Lap, s.Slot, quantity(s.Value, e.SE, e.Unit), s.Reason)
			if e.RunsRef+e.RunsTrial > 2 {
				t = say.T("{lap} of {run}", t, q.runName(s.Run))
			}
			list = append(list, t)
		}
		b += " " + say.T("Struck: {laps}.", say.Join(list, ", "))
		if a := e.All; a != nil {
			b += " " + say.T("With every lap ({reference} and {trial}): {effect}, 95 % {lo} to {hi}, {answer}.", a.NRef, a.NTrial,
				signed(a.Effect, e.SE, e.Unit), signed(a.Lo, e.SE, e.Unit), signed(a.Hi, e.SE, e.Unit), say.Key(string(a.Answer)))
		}
	}
	if e.Note != "" {
		b += " " + say.T("{note^}.", e.Note)
	}
	if v.Tiers != "" {
		b += " " + say.T("{tiers^}.", v.Tiers)
	}
	if len(v.Watch) > 0 {
		b += " " + watchWords(v.Watch)
	}
	v.Engineer = b
}

// watchWords says what the watch list found, once per effect.
func watchWords(es []Effect) say.Text {
	var found []say.Text
	few := 0
	for _, e := range es {
		if e.NRef < 6 || e.NTrial < 6 {
			few++
		}
		if e.Answer != Better && e.Answer != Worse || e.CarriedFrom != 0 && e.Answer == Better {
			continue
		}
		found = append(found, say.T("{what} {answer} ({effect})", title(e.Turn, e.Measure), say.Key(string(e.Answer)), signed(e.Value, e.SE, e.Unit)))
	}
	what := say.Join(found, "; ")
	if len(found) == 0 {
		what = say.T("nothing stands out")
		if few*2 > len(es) {
			what = say.T("nothing stands out, which means little with fewer than 6 laps a side")
		}
	}
	return say.T("Watch list of {n}, corrected for as many looks: {found}.", len(es), what)
}

func lapCounts(e *Effect) say.Text {
	if e.NRef == e.NTrial {
		return say.T("{laps} each", count(e.NRef, "lap"))
	}
	return say.T("{reference} reference and {trial}", e.NRef, count(e.NTrial, "trial lap"))
}

// change words a proven effect: "0.08 s quicker", "0.7 s less cut", "1.4 km/h
// higher".
func (e *Effect) change() say.Text {
	x, measure := quantity(math.Abs(e.Value), e.SE, e.Unit), say.Key(e.Measure)
	switch {
	case e.Unit == "s" && e.Tier == Mechanism && e.Value < 0:
		return say.T("{x} less {measure}", x, measure)
	case e.Unit == "s" && e.Tier == Mechanism:
		return say.T("{x} more {measure}", x, measure)
	case e.Unit == "s" && e.Value < 0:
		return say.T("{x} quicker", x)
	case e.Unit == "s":
		return say.T("{x} slower", x)
	case e.Value < 0:
		return say.T("{x} lower in {measure}", x, measure)
	}
	return say.T("{x} higher in {measure}", x, measure)
}

func (e *Effect) between() say.Text {
	lo, hi := math.Abs(e.Lo), math.Abs(e.Hi)
	if lo > hi {
		lo, hi = hi, lo
	}
	d := digits(e.SE)
	return say.T("{lo} and {hi}", number(lo, d), withUnit(number(hi, d), e.Unit))
}

// numbers is the estimate in the engineer's words.
func (e *Effect) numbers(v *Verdict) say.Text {
	return say.T("{trial} minus {reference} {effect} (95 % {lo} to {hi}, p {p}, {df} on {nref} and {ntrial} kept)", v.Trial, v.Reference,
		signed(e.Value, e.SE, e.Unit), signed(e.Lo, e.SE, e.Unit), signed(e.Hi, e.SE, e.Unit), pvalue(e.P),
		dfWords(e.DF), count(e.NRef, "reference lap"), count(e.NTrial, "trial lap"))
}

func dfWords(df float64) say.Text { return say.T("{n} df", strconv.FormatFloat(df, 'f', 0, 64)) }

func pvalue(p float64) say.Text {
	switch {
	case math.IsNaN(p):
		return say.T("withheld")
	case p < 0.001:
		return "< 0.001"
	case p < 0.1:
		return say.Plain(strconv.FormatFloat(p, 'f', 3, 64))
	}
	return say.Plain(strconv.FormatFloat(p, 'f', 2, 64))
}

// digits is the number of decimals that shows a standard error with two
// significant figures, at most four decimals.
func digits(se float64) int {
	if !(se > 0) || math.IsInf(se, 0) {
		return 3
	}
	return max(0, min(4, 1-int(math.Floor(math.Log10(se)))))
}

func number(x float64, d int) string {
	s := strconv.FormatFloat(x, 'f', d, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

// quantity writes a value with unit, to the digits its standard error bears.
func quantity(x, se float64, unit string) say.Text {
	if math.IsNaN(x) {
		return say.T("unknown")
	}
	if math.IsInf(x, 0) {
		return say.T("out of reach")
	}
	return say.Plain(withUnit(number(x, digits(se)), unit))
}

// signed is quantity with its sign always shown.
func signed(x, se float64, unit string) say.Text {
	s := quantity(x, se, unit)
	if x > 0 && !math.IsInf(x, 0) {
		return "+" + s
	}
	return s
}

func withUnit(n, unit string) string {
	switch unit {
	case "":
		return n
	case "m/s2":
		return n + " m/s²"
	}
	return n + " " + unit
}
