package debrief

import (
	"fmt"
	"strconv"
	"strings"

	"cornerwright/internal/circuit"
	"cornerwright/internal/say"
	"cornerwright/internal/unit"
)

// ParseWords reads what a rider says, such as "out of four and five it holds me
// back at full lean", as structured remarks to be shown and confirmed. Turns
// are known by number, by number in words and by name. 'Out of' places a remark
// on the drive, 'into' on the brakes and the entry. What has two meanings is
// asked back; so is a remark without a turn or without a complaint.
//
// A turn that the circuit does not have becomes a question that names the turns
// there are.
func ParseWords(text string, turns []circuit.Turn) Reading {
	var out Reading
	p := wordParser{turns: turns, words: split(text)}
	// Clauses: each complaint takes the turns said since the last complaint, or
	// those said after it, or the last ones said.
	p.mark()
	hits := p.complaints()
	if len(hits) == 0 {
		out.Questions = append(out.Questions, Question{About: text, Ask: say.T("What does the bike do there? For example: holds me back, spins, pushes me on, wants engine braking, hops.")})
	}
	strength := p.strength()
	var last []int
	from := 0
	for k, h := range hits {
		until := len(p.words)
		if k+1 < len(hits) {
			until = hits[k+1].from
		}
		nos := p.turnsIn(from, h.from)
		if len(nos) == 0 {
			nos = p.turnsIn(h.to, until)
			if len(nos) > 0 {
				from = until
			}
		} else {
			from = h.to
		}
		if len(nos) == 0 {
			nos = last
		}
		last = nos
		start := 0
		if k > 0 {
			start = hits[k-1].to
		}
		r := Remark{Turns: nos, Phase: p.phase(start, until), Lean: p.lean(start, until), Says: h.word.Says, Strength: strength, Words: strings.TrimSpace(text)}
		if h.word.Ambiguous() {
			if settled, ok := settle(h.word, r.Phase, p, start, until); ok {
				r.Says = settled
			} else {
				out.Questions = append(out.Questions, h.word.Question(h.heard))
				r.Says = ""
			}
		}
		if len(nos) == 0 && len(p.unknown) == 0 && !p.wholeLap() && r.Says != "fine" && r.Says != "pit-too-fast" {
			out.Questions = append(out.Questions, Question{About: h.heard, Ask: say.T("In which turn? {turns}", turnList(turns)), Turn: true})
		}
		if r.Says != "" {
			if r.Phase == "" {
				if w := Lookup(r.Says); w != nil && len(w.Phases) > 0 && p.out(start, until) {
					r.Phase = circuit.PhasePickup
				}
			}
			out.Remarks = append(out.Remarks, r)
		}
	}
	for _, n := range p.unknown {
		out.Questions = append(out.Questions, Question{About: n, Ask: say.T("There is no turn {turn} here. {turns}", n, turnList(turns))})
	}
	for i, w := range p.words {
		if !p.used[i] && !filler[w.text] {
			out.Ignored = append(out.Ignored, w.text)
		}
	}
	out.Echo = echo(out.Remarks, turns)
	return out
}

// CheckTurns returns an error that names the turns there are if a remark speaks
// of one the circuit does not have.
func CheckTurns(r Remark, turns []circuit.Turn) error {
	for _, n := range r.Turns {
		found := false
		for _, t := range turns {
			found = found || t.Number == n
		}
		if !found {
			return say.Error("remark: there is no turn {n} on this circuit; {turns}", n, turnList(turns))
		}
	}
	return nil
}

// Check returns an error if the remark holds a word or number that cannot be.
func (r Remark) Check() error {
	w := Lookup(r.Says)
	if w == nil {
		return say.Error("remark: {says} is no complaint of the vocabulary; {near}", fmt.Sprintf("%q", r.Says), nearestComplaint(string(r.Says)))
	}
	if w.Ambiguous() {
		var t []say.Text
		for _, a := range w.Means2 {
			t = append(t, say.T("{word} ({meaning})", string(a.Says), say.Key(a.Words)))
		}
		return say.Error("remark: {says} has two meanings: {ask} Say one of {t}", fmt.Sprintf("%q", r.Says), say.Key(w.Ask), say.Join(t, ", "))
	}
	if r.Strength < 0 || r.Strength > 3 {
		return say.Error("remark: strength is 1 (a little), 2 (clearly) or 3 (badly), not {strength}", r.Strength)
	}
	if r.Phase != "" {
		ok := false
		for _, p := range circuit.Phases {
			ok = ok || p == r.Phase
		}
		if !ok {
			return say.Error("remark: there is no phase {phase}; phases are brake, entry, mid, pickup, drive", fmt.Sprintf("%q", r.Phase))
		}
	}
	return nil
}

func nearestComplaint(word string) say.Text {
	var t []string
	for _, c := range Vocabulary() {
		t = append(t, string(c))
	}
	if near := unit.NearestWithin(word, t, 3); near != "" {
		return say.T("did you mean {word}?", near)
	}
	return say.T("it has {words}", strings.Join(t, ", "))
}

func turnList(turns []circuit.Turn) say.Text {
	if len(turns) == 0 {
		return say.T("No turns are known yet.")
	}
	t := make([]string, len(turns))
	for i, x := range turns {
		t[i] = strconv.Itoa(x.Number)
		if x.Name != "" {
			t[i] += " " + x.Name
		}
	}
	return say.T("The turns are {list}.", strings.Join(t, ", "))
}
