package debrief

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/recording"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// knowledge is the whole table.
var knowledge = func() []*row {
	var out []*row
	for i := range driveRows {
		out = append(out, &driveRows[i])
	}
	for i := range entryRows {
		out = append(out, &entryRows[i])
	}
	return out
}()

// Debrief holds every remark against the ride and looks for what nobody
// mentioned. Sheet is what the bike carried in that run; proposals are written
// for slot (empty, or the reference: the bike's trial slot). The same input
// gives the same result; nothing is stored and no clock is read.
func Debrief(r *ride.Ride, b *bike.Bike, remarks []Remark, sheet setting.Sheet, slot string, opt Options) Result {
	s := newScene(r, b, sheet, slot)
	out := Result{Run: opt.Run, Laps: s.laps, Notes: s.notes()}
	for _, m := range remarks {
		out.Findings = append(out.Findings, s.answer(m, opt)...)
	}
	out.Unasked = s.unasked(out.Findings, opt)
	out.Next, out.Why = next(out.Findings, out.Unasked, remarks)
	return out
}

// notes are what weakens the whole debrief.
func (s *scene) notes() []say.Text {
	var out []say.Text
	if s.laps < 3 {
		out = append(out, say.T("Only {laps} timed laps: shares of laps say little.", s.laps))
	}
	for _, t := range []struct {
		name say.Text
		f    bike.TyreFit
	}{{say.T("front"), s.r.Tyres.Front}, {say.T("rear"), s.r.Tyres.Rear}} {
		if !t.f.Identified {
			out = append(out, say.T("The {name} tyre's rolling radius is the bike file's, not identified ({why}): slip may be off.", t.name, orNone(t.f.Why)))
		}
	}
	if s.r.Lean.Source == "path alone" || s.r.Lean.Source == "none" {
		out = append(out, say.T("Lean comes from {source}: cells by lean are less certain.", say.Key(s.r.Lean.Source)))
	}
	return out
}

func orNone(s string) say.Text {
	if s == "" {
		return say.T("no reason given")
	}
	return say.Key(s)
}

// answer gives one finding for each turn of a remark.
func (s *scene) answer(m Remark, opt Options) []Finding {
	turns := m.Turns
	if len(turns) == 0 {
		return []Finding{s.wholeLap(m, opt)}
	}
	var out []Finding
	for _, t := range turns {
		f := s.finding(m, t, opt)
		f.ID = fmt.Sprintf("r%d", m.ID)
		if len(turns) > 1 {
			f.ID += fmt.Sprintf("-t%d", t)
		}
		out = append(out, f)
	}
	return out
}

// wholeLap answers a remark without a turn by the turn that shows it best.
func (s *scene) wholeLap(m Remark, opt Options) Finding {
	var best Finding
	rank := map[Stance]int{Agrees: 3, Partly: 2, Contradicts: 1, CannotTell: 0}
	var at []string
	for k, t := range s.turns() {
		f := s.finding(m, t, opt)
		if f.Stance == Agrees {
			at = append(at, fmt.Sprint(t))
		}
		share := func(f Finding) float64 { return float64(f.Seen) / math.Max(1, float64(f.Of)) }
		if k == 0 || rank[f.Stance] > rank[best.Stance] || rank[f.Stance] == rank[best.Stance] && share(f) > share(best) {
			best = f
		}
	}
	best.ID = fmt.Sprintf("r%d", m.ID)
	if len(s.turns()) == 0 {
		best = Finding{ID: best.ID, Remark: m.ID, Says: m.Says, Stance: CannotTell, Text: say.T("No turn of this circuit is known, so the remark has no place."), Laps: say.T("0 of 0"),
			Change: say.T("A run with a timed lap."), Proposals: []Proposal{changeNothing(say.T("what cannot be placed is not changed"))}}
	}
	if len(at) > 1 {
		best.Text += " " + say.T("It shows at turns {turns}; here is the clearest.", strings.Join(at, ", "))
	}
	return best
}

// verdictOf is a row's answer.
type verdictOf struct {
	*row
	t tally
	l *look
}

// rests tells whether a row needs a channel.
func (w *row) rests(n need) bool {
	for _, x := range w.needs {
		if x.what == n.what {
			return true
		}
	}
	return false
}

// finding answers a remark at one turn: every row that can explain the
// complaint is asked; the one seen on most laps speaks.
func (s *scene) finding(m Remark, turn int, opt Options) Finding {
	f := Finding{Remark: m.ID, Turn: turn, Phase: m.Phase, Says: m.Says}
	if s.turnOf[turn] == nil {
		f.Stance, f.Laps = CannotTell, "0 of 0"
		f.Text = say.T("There is no turn {turn} on this circuit.", turn)
		f.Change = say.T("Name one of the circuit's turns.")
		f.Proposals = []Proposal{changeNothing(say.T("a remark without a place changes nothing"))}
		return f
	}
	if m.Says == "fine" {
		return s.fine(f, m, turn)
	}
	rows := s.ask(m, turn)
	elsewhere := false
	if m.Lean != "" && len(rows) > 0 && rows[0].t.stance() != Agrees && rows[0].t.stance() != Partly {
		// The place is right and the lean is not: riders judge lean worse than place.
		o := m
		o.Lean = ""
		if any := s.ask(o, turn); any[0].t.stance() == Agrees || any[0].t.stance() == Partly {
			rows, elsewhere = any, true
		}
	}
	if len(rows) == 0 {
		f.Stance, f.Laps = CannotTell, "0 of 0"
		f.Text = say.T("Nothing in the table speaks of this complaint there.")
		f.Change = say.T("Say which end of the bike does it, and when.")
		f.Proposals = []Proposal{changeNothing(say.T("what cannot be placed is not changed"))}
		return f
	}
	best := rows[0]
	inferred := best.rests(needCut) && s.r.Signals.CutSource == "signature"
	f.Cause, f.Stance, f.Seen, f.Of, f.Laps, f.Safety, f.Change = best.id, best.t.stance(), best.t.seen, best.t.of, best.t.laps(), best.safety, best.mind
	if f.Phase == "" && len(best.phases) > 0 {
		f.Phase = best.phases[len(best.phases)-1]
		if w := Lookup(m.Says); w != nil && len(w.Phases) > 0 && holds(best.phases, w.Phases[0]) {
			f.Phase = w.Phases[0]
		}
	}
	l := best.l
	if inferred {
		// A cut inferred from acceleration alone is a suspicion: small ones are
		// missed and a slope looks like one.
		switch f.Stance {
		case Agrees:
			f.Stance = Partly
		case Contradicts:
			f.Stance = CannotTell
			best.t.missing = say.T("no cut and no throttle plate is recorded, and from acceleration alone a small cut cannot be ruled out; record one of them")
		}
	}
	switch f.Stance {
	case Agrees, Partly:
		f.Text = best.yes(l, best.t)
		if inferred {
			f.Text += say.T(" The cut is inferred from acceleration: suspected, not recorded.")
		}
		if elsewhere {
			f.Stance = Partly
			f.Text = say.T("Not {lean}, but at that place: {text}", say.Key(leanWords[m.Lean]), f.Text)
		}
		if best.measures != nil {
			f.Measures = best.measures(l)
		}
		f.Evidence = s.evidence(l, best)
		f.Proposals = ordering(best.propose(l))
		if best.cost != nil {
			f.Cost = math.Max(0, nanZero(best.cost(l)))
		}
	case Contradicts:
		f.Cause = ""
		f.Text = s.contradiction(m, turn, rows)
		if best.measures != nil {
			f.Measures = best.measures(l)
		}
		f.Proposals = []Proposal{changeNothing(say.T("the data do not show it; ride two laps more with an eye on that place before anything is changed"))}
		if opt.Overrule != "" {
			for _, p := range best.propose(l) {
				p.NeedsSay = true
				p.Why = say.T("on the say of {overrule}, against the data: {why}", opt.Overrule, p.Why)
				f.Proposals = append(f.Proposals, p)
			}
		}
	default:
		f.Cause = ""
		why := best.t.missing
		if why == "" {
			why = say.T("only {of} laps could show it", best.t.of)
		}
		f.Text = say.T("It cannot be told at {turn}: {why}.", l.name(), why)
		f.Proposals = []Proposal{inspect(say.T("what would show it: {change}", f.Change), say.T("measure before changing")), changeNothing(say.T("what cannot be seen is not changed"))}
		// Looking costs nothing: a row's own inspections and advice may stand.
		if best.propose != nil && best.t.missing != "" {
			for _, p := range best.propose(l) {
				if p.Kind == Inspect {
					f.Proposals = append([]Proposal{p}, f.Proposals...)
				}
			}
		}
	}
	if f.Text != "" && len(f.Measures) == 0 && best.measures != nil && f.Stance != CannotTell {
		f.Measures = best.measures(l)
	}
	return f
}

// ask gathers the evidence of every row that can explain a remark, the best
// first.
func (s *scene) ask(m Remark, turn int) []verdictOf {
	var out []verdictOf
	for _, w := range knowledge {
		rank := -1
		for k, c := range w.says {
			if c == m.Says {
				rank = k
			}
		}
		if rank < 0 || !fits(w, m) {
			continue
		}
		l := &look{scene: s, turn: turn, phase: m.Phase, lean: m.Lean}
		out = append(out, verdictOf{w, l.gather(w), l})
	}
	score := func(v verdictOf) float64 {
		k := v.weight
		if k == 0 {
			k = 1
		}
		usual := 0 // how usual the row is as a reading of the complaint
		for i, c := range v.says {
			if c == m.Says {
				usual = i
				k *= 1 - 0.06*float64(i)
			}
		}
		switch v.t.stance() {
		case Agrees:
			return 100 + k*v.t.share()
		case Partly:
			return 50 + k*v.t.share()
		case Contradicts:
			return 10 - float64(usual)
		}
		// What usually explains the complaint cannot be seen: then nothing that is
		// seen less often contradicts the rider.
		if usual == 0 {
			return 20
		}
		return -float64(usual)
	}
	sort.SliceStable(out, func(i, j int) bool { return score(out[i]) > score(out[j]) })
	return out
}

// fits tells whether a row speaks of the remark's phase and lean. Riders name
// neighbouring phases for one another, so going in (brake, entry), the middle
// and coming out (pick-up, drive) count, not single phases.
func fits(w *row, m Remark) bool {
	if m.Lean != "" && w.lean != "" && m.Lean != w.lean {
		return false
	}
	if m.Phase == "" || len(w.phases) == 0 {
		return true
	}
	for _, p := range w.phases {
		if p == m.Phase || group(p) == group(m.Phase) || p == circuit.PhaseMid && m.Phase == circuit.PhaseEntry || p == circuit.PhaseEntry && m.Phase == circuit.PhaseMid {
			return true
		}
	}
	return false
}

func group(p circuit.Phase) int {
	switch p {
	case circuit.PhaseBrake, circuit.PhaseEntry:
		return 0
	case circuit.PhaseMid:
		return 1
	}
	return 2
}

func (s *scene) contradiction(m Remark, turn int, rows []verdictOf) say.Text {
	best := rows[0]
	text := say.T("The data do not show it at {turn} ({laps} laps). {no}", best.l.name(), best.t.laps(), best.no)
	return text
}

// fine answers a rider who is content.
func (s *scene) fine(f Finding, m Remark, turn int) Finding {
	f.Laps = say.T("{turn} of {laps}", len(s.passes[turn]), s.laps)
	f.Seen, f.Of = len(s.passes[turn]), s.laps
	f.Stance = Agrees
	l := &look{scene: s, turn: turn}
	f.Text = say.T("Nothing at {turn} asks for a change.", l.name())
	f.Proposals = []Proposal{changeNothing(say.T("the rider is content there"))}
	for _, w := range knowledge {
		if !w.safety {
			continue
		}
		ll := &look{scene: s, turn: turn}
		if t := ll.gather(w); t.stance() == Agrees {
			f.Stance, f.Cause, f.Seen, f.Of, f.Laps, f.Safety = Contradicts, w.id, t.seen, t.of, t.laps(), true
			f.Text = w.yes(ll, t)
			break
		}
	}
	f.Change = say.T("Anything the rider feels there.")
	return f
}

// evidence lists the instants that show a finding best: the laps with most of
// it, and the one in the middle, never only the worst.
func (s *scene) evidence(l *look, v verdictOf) []Instant {
	var out []Instant
	add := func(p *ride.Pass, words say.Text) {
		from, to := p.Start, p.End
		if v.show != nil {
			if a, b := v.show(l, p); !math.IsNaN(a) && !math.IsNaN(b) && b >= a {
				from, to = a, b
			}
		}
		out = append(out, Instant{p.Lap, p.Turn, from, to, words})
	}
	best := append([]*ride.Pass(nil), v.t.best...)
	if v.show != nil {
		sort.SliceStable(best, func(i, j int) bool {
			a0, a1 := v.show(l, best[i])
			b0, b1 := v.show(l, best[j])
			return a1-a0 > b1-b0
		})
	}
	switch n := len(best); {
	case n >= 3:
		add(best[0], say.T("clearest"))
		add(best[n/2], say.T("usual"))
		add(best[n-1], say.T("weakest"))
	default:
		for i, p := range best {
			add(p, []say.Text{say.T("clearest"), say.T("weaker")}[i])
		}
	}
	return out
}

// ordering sorts proposals by their score, keeping the row's own order among
// equals; a row that puts advice before a setting is followed.
func ordering(p []Proposal) []Proposal {
	if len(p) > 0 && p[0].Kind != ChangeSetting {
		return p
	}
	sort.SliceStable(p, func(i, j int) bool { return p[i].Score < p[j].Score })
	return p
}

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
		if len(out) > 0 || q.Channel != recording.RearSpeed && q.Channel != recording.FrontSpeed || !strings.Contains(q.Mend, "circumference_m") {
			continue
		}
		name := say.Key(strings.TrimSuffix(q.Channel, "_speed"))
		out = append(out, Finding{Cause: "circumference", Seen: s.laps, Of: s.laps, Laps: say.T("{laps} of {laps2}", s.laps, s.laps), Safety: true,
			Text:      say.T("The {name} circumference is not what the bike file says: {text}.", name, q.Text),
			Change:    say.T("A measured roll-out of the warm tyre, rider on."),
			Proposals: []Proposal{inspect(say.T("the {which} circumference in logger, control unit and bike file", name), say.Key(q.Mend)), changeNothing(say.T("no slip target is touched before"))}})
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
