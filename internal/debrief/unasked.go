package debrief

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"cornerwright/internal/bike"
	"cornerwright/internal/recording"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
)

// unasked lets rows speak up that nobody asked, ranked by risk, then by time.
func (s *scene) unasked(asked []Finding, opt Options) []Finding {
	most := opt.Unasked
	if most == 0 {
		most = 5
	}
	if most < 0 {
		return nil
	}
	told := map[string]bool{}
	for _, f := range asked {
		if f.Cause != "" {
			told[fmt.Sprint(f.Cause, f.Turn)] = true
		}
	}
	all := append(s.wholeRun(), s.uneven()...)
	for _, w := range knowledge {
		if w.unasked == 0 {
			continue
		}
		for _, t := range s.turns() {
			if told[fmt.Sprint(w.id, t)] {
				continue
			}
			l := &look{scene: s, turn: t}
			y := l.gather(w)
			if y.missing != "" || y.of < 2 || y.seen < 2 || y.share() < w.unasked {
				continue
			}
			f := Finding{Turn: t, Cause: w.id, Says: w.says[0], Seen: y.seen, Of: y.of, Laps: y.laps(), Safety: w.safety, Change: w.mind, Text: w.yes(l, y)}
			if len(w.phases) > 0 {
				f.Phase = w.phases[len(w.phases)-1]
			}
			if w.measures != nil {
				f.Measures = w.measures(l)
			}
			if w.cost != nil {
				f.Cost = math.Max(0, nanZero(w.cost(l))) * y.share()
			}
			f.Evidence = s.evidence(l, verdictOf{w, y, l})
			f.Proposals = ordering(w.propose(l))
			all = append(all, f)
		}
	}
	sort.SliceStable(all, func(i, j int) bool {
		if all[i].Safety != all[j].Safety {
			return all[i].Safety
		}
		return all[i].Cost*share(all[i]) > all[j].Cost*share(all[j])
	})
	// One row may not fill the page: two turns of a kind, the rest is told in the text.
	count := map[string]int{}
	var out []Finding
	for _, f := range all {
		count[f.Cause]++
		if count[f.Cause] > 2 || len(out) == most {
			continue
		}
		out = append(out, f)
	}
	for i := range out {
		out[i].ID = fmt.Sprintf("u%d", i+1)
		if n := count[out[i].Cause]; n > 2 {
			out[i].Text += say.T(" ({n} turns in all show the like.)", n)
		}
	}
	return out
}

func share(f Finding) float64 { return float64(f.Seen) / math.Max(1, float64(f.Of)) }

// wholeRun lists what concerns no single turn: a wheel circumference that is
// not the file's.
func (s *scene) wholeRun() []Finding {
	var out []Finding
	for _, t := range []struct {
		name say.Text
		fit  bike.TyreFit
		file bike.Tyre
	}{{say.T("front"), s.r.Tyres.Front, s.b.Front}, {say.T("rear"), s.r.Tyres.Rear, s.b.Rear}} {
		if !t.fit.Identified || t.file.Circumference == 0 {
			continue
		}
		d := t.fit.Circumference - t.file.Circumference
		if math.Abs(d) < 0.008*t.file.Circumference || math.Abs(d) < 3*t.fit.CircumferenceSE {
			continue
		}
		out = append(out, Finding{Cause: "circumference", Says: "", Seen: s.laps, Of: s.laps, Laps: say.T("{laps} of {laps2}", s.laps, s.laps), Safety: true,
			Text: say.T("The {name} tyre rolls {circumference} mm a turn, the bike file says {circumference2} mm: every slip that the bike's own control sees with that figure is {circumference3} % off.", t.name, num(1000*t.fit.Circumference, 0), num(1000*t.file.Circumference, 0), num(100*math.Abs(d)/t.file.Circumference, 1)),
			Measures: []Measure{{Name: "circumference", Label: say.T("{which} circumference", t.name), Value: 1000 * t.fit.Circumference, Lo: 1000 * (t.fit.Circumference - 2*t.fit.CircumferenceSE), Hi: 1000 * (t.fit.Circumference + 2*t.fit.CircumferenceSE), N: max(s.laps, 1), Unit: "mm"},
				{Name: "circumference_file", Label: say.T("in the bike file"), Value: 1000 * t.file.Circumference, Lo: 1000 * t.file.Circumference, Hi: 1000 * t.file.Circumference, N: max(s.laps, 1), Unit: "mm"}},
			Change:    say.T("A measured roll-out of the warm tyre, rider on."),
			Proposals: []Proposal{inspect(say.T("the {name} circumference in logger and control unit: {circumference} mm", t.name, num(1000*t.fit.Circumference, 0)), say.T("it moves every cell of the slip table; a change of its own")), changeNothing(say.T("no slip target is touched before"))}})
	}
	// Where engine speed and ratios contradict the file, the ride has said so among
	// its problems and has used the better value already.
	for _, q := range s.r.Problems {
		if len(out) > 0 || q.Channel != recording.RearSpeed && q.Channel != recording.FrontSpeed || !strings.Contains(q.Mend.String(), "circumference_m") {
			continue
		}
		name := say.Key(strings.TrimSuffix(q.Channel, "_speed"))
		out = append(out, Finding{Cause: "circumference", Seen: s.laps, Of: s.laps, Laps: say.T("{laps} of {laps2}", s.laps, s.laps), Safety: true,
			Text:      say.T("The {name} circumference is not what the bike file says: {text}.", name, q.Text),
			Change:    say.T("A measured roll-out of the warm tyre, rider on."),
			Proposals: []Proposal{inspect(say.T("the {which} circumference in logger, control unit and bike file", name), q.Mend), changeNothing(say.T("no slip target is touched before"))}})
	}
	for _, e := range s.r.Episodes {
		if e.Kind == ride.Highside {
			out = append(out, Finding{Turn: e.Turn, Phase: e.Phase, Cause: "near-highside", Seen: 1, Of: s.laps, Laps: say.T("1 of {laps}", s.laps), Safety: true, Cost: 1,
				Text:      say.T("Lap {lap}, turn {turn}: the rear slid and caught. Nothing is loosened after that.", e.Lap, e.Turn),
				Evidence:  []Instant{{e.Lap, e.Turn, e.Start, e.End, say.T("the moment")}},
				Change:    say.T("The rider's own account of the moment."),
				Proposals: []Proposal{{Kind: Nothing, Title: say.T("go back to the reference"), Why: say.T("a near-highside outranks every lap time"), Expect: say.T("a known bike"), Watch: say.T("tyre and track before anything else")}}})
			break
		}
	}
	return out
}

// next picks the finding to take first: safety, then what the data carry with
// the strongest remark and most laps.
func next(findings, unasked []Finding, remarks []Remark) (id string, why say.Text) {
	strength := map[int]int{}
	for _, m := range remarks {
		strength[m.ID] = m.Strength
	}
	best := -1.0
	look := func(f Finding) {
		if f.Stance != Agrees && f.Stance != Partly && !(f.Remark == 0 && f.ID != "") {
			return
		}
		x := share(f) * (1 + 0.3*float64(strength[f.Remark]))
		reason := say.T("seen on {laps} laps", f.Laps)
		if f.Stance == Partly {
			x *= 0.6
		}
		if f.Remark == 0 {
			x *= 0.5
			reason = say.T("{reason}, though nobody mentioned it", reason)
		}
		if f.Safety {
			x += 2
			reason = say.T("safety comes first; {reason}", reason)
		}
		if x > best {
			best, id, why = x, f.ID, reason
		}
	}
	for _, f := range findings {
		look(f)
	}
	for _, f := range unasked {
		look(f)
	}
	return id, why
}

func contains(s, part string) bool {
	return strings.Contains(strings.ToLower(s), part)
}
