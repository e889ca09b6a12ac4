package verdict

import (
	"fmt"
	"math"
	"strconv"
	"strings"
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
		v.Tiers = "it does what it should, and it pays"
	case v.Mechanism == Better && v.Outcome == Worse:
		v.Tiers = "it does what it should, and it costs"
	case v.Mechanism == Better && v.Outcome == NoDifference:
		v.Tiers = "it does what it should, and it is worth nothing that matters"
	case v.Mechanism == Better:
		v.Tiers = "it does what it should; time and speed are not proven"
	case v.Outcome == Better:
		v.Tiers = "it pays, and the mechanism behind it is not shown"
	case v.Outcome == Worse:
		v.Tiers = "it costs, and the mechanism behind it is not shown"
	case v.Mechanism == Worse:
		v.Tiers = "it does the opposite of what it should"
	default:
		v.Tiers = "neither the mechanism nor its worth is shown"
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
	where := "The lap"
	if e.Turn > 0 {
		where = fmt.Sprintf("Turn %d", e.Turn)
	}
	if r := v.Refusal; r != nil {
		v.Rider = fmt.Sprintf("%s: cannot tell. %s.", where, capital(r.Reason))
		v.Engineer = fmt.Sprintf("Refused (%s): %s. What would do: %s.", r.Kind, r.Reason, r.Remedy)
		if e.Known() {
			v.Engineer += " For what it is worth, " + e.numbers(v) + "."
		}
		return
	}
	laps := lapCounts(e)
	switch e.Answer {
	case Better, Worse:
		v.Rider = fmt.Sprintf("%s: %s. With %s it is %s, likely between %s (%s).", where, e.Answer, q.Trial, e.change(), e.between(), laps)
		if e.Small {
			v.Rider += " Less than what matters to us."
		}
	case NoDifference:
		v.Rider = fmt.Sprintf("%s: same for our purpose. Any difference in %s is smaller than %s (%s).", where, e.Measure, quantity(e.Matters, e.SE, e.Unit), laps)
	default:
		v.Rider = fmt.Sprintf("%s: cannot tell yet. The change in %s lies between %s and %s (%s).", where, e.Measure, signed(e.Lo, e.SE, e.Unit), signed(e.Hi, e.SE, e.Unit), laps)
		if e.Needed != nil {
			v.Rider += " " + capital(e.Needed.Text) + "."
		}
	}
	if v.NilCheck {
		v.Rider += " Both names held the same settings."
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %s: %s", capital(title(e.Turn, e.Measure)), v.Design, e.numbers(v))
	fmt.Fprintf(&b, "; lap sd %s; smallest effect this order finds 4 times in 5: %s.", quantity(e.LapSD, e.LapSD, e.Unit), quantity(e.SmallestVisible, e.SE, e.Unit))
	if len(e.Struck) > 0 {
		b.WriteString(" Struck:")
		for i, s := range e.Struck {
			if i > 0 {
				b.WriteString(",")
			}
			fmt.Fprintf(&b, " lap %d %s (%s, %s)", s.Lap, s.Slot, quantity(s.Value, e.SE, e.Unit), s.Reason)
			if e.RunsRef+e.RunsTrial > 2 {
				fmt.Fprintf(&b, " of %s", q.runName(s.Run))
			}
		}
		b.WriteString(".")
		if a := e.All; a != nil {
			fmt.Fprintf(&b, " With every lap (%d and %d): %s, 95 %% %s to %s, %s.", a.NRef, a.NTrial,
				signed(a.Effect, e.SE, e.Unit), signed(a.Lo, e.SE, e.Unit), signed(a.Hi, e.SE, e.Unit), a.Answer)
		}
	}
	if v.Tiers != "" {
		fmt.Fprintf(&b, " %s.", capital(v.Tiers))
	}
	if n := len(v.Watch); n > 0 {
		fmt.Fprintf(&b, " %s", watchWords(v.Watch))
	}
	v.Engineer = b.String()
}

// watchWords says what the watch list found, once per effect.
func watchWords(es []Effect) string {
	var found []string
	few := 0
	for _, e := range es {
		if e.NRef < 6 || e.NTrial < 6 {
			few++
		}
		if e.Answer != Better && e.Answer != Worse || e.CarriedFrom != 0 && e.Answer == Better {
			continue
		}
		found = append(found, fmt.Sprintf("%s %s (%s)", title(e.Turn, e.Measure), e.Answer, signed(e.Value, e.SE, e.Unit)))
	}
	s := fmt.Sprintf("Watch list of %d, corrected for as many looks: ", len(es))
	if len(found) == 0 {
		s += "nothing stands out"
		if few*2 > len(es) {
			s += ", which means little with fewer than 6 laps a side"
		}
		return s + "."
	}
	return s + strings.Join(found, "; ") + "."
}

func lapCounts(e *Effect) string {
	if e.NRef == e.NTrial {
		return fmt.Sprintf("%s each", count(e.NRef, "lap"))
	}
	return fmt.Sprintf("%d reference and %s", e.NRef, count(e.NTrial, "trial lap"))
}

// change words a proven effect: "0.08 s quicker", "1.4 km/h higher".
func (e *Effect) change() string {
	return quantity(math.Abs(e.Value), e.SE, e.Unit) + " " + e.word()
}

func (e *Effect) word() string {
	switch {
	case e.Unit == "s" && e.Value < 0:
		return "quicker"
	case e.Unit == "s":
		return "slower"
	case e.Value < 0:
		return "lower in " + e.Measure
	}
	return "higher in " + e.Measure
}

func (e *Effect) between() string {
	lo, hi := math.Abs(e.Lo), math.Abs(e.Hi)
	if lo > hi {
		lo, hi = hi, lo
	}
	d := digits(e.SE)
	return number(lo, d) + " and " + withUnit(number(hi, d), e.Unit)
}

// numbers is the estimate in the engineer's words.
func (e *Effect) numbers(v *Verdict) string {
	return fmt.Sprintf("%s minus %s %s (95 %% %s to %s, p %s, %s on %s and %s kept)", v.Trial, v.Reference,
		signed(e.Value, e.SE, e.Unit), signed(e.Lo, e.SE, e.Unit), signed(e.Hi, e.SE, e.Unit), pvalue(e.P),
		dfWords(e.DF), count(e.NRef, "reference lap"), count(e.NTrial, "trial lap"))
}

func dfWords(df float64) string { return strconv.FormatFloat(df, 'f', 0, 64) + " df" }

func pvalue(p float64) string {
	switch {
	case math.IsNaN(p):
		return "withheld"
	case p < 0.001:
		return "< 0.001"
	case p < 0.1:
		return strconv.FormatFloat(p, 'f', 3, 64)
	}
	return strconv.FormatFloat(p, 'f', 2, 64)
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
func quantity(x, se float64, unit string) string {
	if math.IsNaN(x) {
		return "unknown"
	}
	if math.IsInf(x, 0) {
		return "out of reach"
	}
	return withUnit(number(x, digits(se)), unit)
}

// signed is quantity with its sign always shown.
func signed(x, se float64, unit string) string {
	s := quantity(x, se, unit)
	if x > 0 && !strings.HasPrefix(s, "out") {
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

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
