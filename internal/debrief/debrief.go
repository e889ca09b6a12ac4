package debrief

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
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

func orNone(s say.Text) say.Text {
	if s == "" {
		return say.T("no reason given")
	}
	return s
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
