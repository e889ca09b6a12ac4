package debrief

import (
	"sort"
	"strings"

	"cornerwright/internal/circuit"
)

type complaintHit struct {
	word     *Word
	heard    string
	from, to int
}

// complaints finds the vocabulary's phrases, the longest first, none inside
// another.
func (p *wordParser) complaints() []complaintHit {
	type phrase struct {
		word  *Word
		heard string
		words []spoken
	}
	var all []phrase
	for i := range Complaints {
		w := &Complaints[i]
		for _, h := range w.Heard {
			all = append(all, phrase{w, h, split(h)})
		}
		all = append(all, phrase{w, string(w.Says), split(strings.ReplaceAll(string(w.Says), "-", " "))}, phrase{w, string(w.Says), split(string(w.Says))})
	}
	sort.SliceStable(all, func(i, j int) bool { return len(all[i].words) > len(all[j].words) })
	p.taken = make([]bool, len(p.words))
	taken := p.taken
	var hits []complaintHit
	for _, ph := range all {
		for from := 0; ; {
			i := p.find(ph.words, from, len(p.words))
			if i < 0 {
				break
			}
			from = i + 1
			free := true
			for k := i; k < i+len(ph.words); k++ {
				free = free && !taken[k]
			}
			if !free || p.negated(i) {
				continue
			}
			for k := i; k < i+len(ph.words); k++ {
				taken[k] = true
			}
			p.use(i, i+len(ph.words))
			hits = append(hits, complaintHit{ph.word, ph.heard, i, i + len(ph.words)})
		}
	}
	sort.Slice(hits, func(i, j int) bool { return hits[i].from < hits[j].from })
	// The same complaint twice in a row is one.
	var out []complaintHit
	for _, h := range hits {
		if n := len(out); n > 0 && out[n-1].word == h.word && len(p.turnsIn(out[n-1].to, h.from)) == 0 {
			continue
		}
		out = append(out, h)
	}
	return out
}

// negated: "does not spin", "no wheelie". Phrases that begin with such a word
// carry it themselves.
func (p *wordParser) negated(i int) bool {
	for k := max(0, i-2); k < i; k++ {
		switch p.words[k].text {
		case "not", "never", "doesn't", "doesnt", "didn't", "didnt", "isn't", "isnt", "no", "without":
			return true
		}
	}
	return false
}

func (p *wordParser) strength() int {
	switch {
	case p.says(0, len(p.words), "badly", "very", "a lot", "massively", "terrible", "terribly", "really", "dangerous", "horrible", "extremely", "every lap", "unrideable", "scary"):
		return 3
	case p.says(0, len(p.words), "a little", "a bit", "slightly", "sometimes", "somewhat", "a touch", "now and then", "maybe"):
		return 1
	}
	return 2
}

func (p *wordParser) out(from, to int) bool {
	return p.says(from, to, "out of", "coming out", "off the corner", "on exit", "at the exit", "on the exit", "exit of", "off")
}

// phase reads where in the turn the rider means. 'Out of' is the pick-up and
// drive, 'into' the brakes and entry.
func (p *wordParser) phase(from, to int) circuit.Phase {
	switch {
	case p.says(from, to, "picking it up", "picking up", "pick up", "pick-up", "on the pick up", "as i pick up", "lifting it up", "standing it up", "first touch", "opening the throttle", "opening", "on the throttle", "on the gas", "cracking it open"):
		return circuit.PhasePickup
	case p.says(from, to, "straight after", "on the straight", "down the straight", "between", "on the drive", "drive out", "driving out"):
		return circuit.PhaseDrive
	case p.says(from, to, "on the brakes", "under braking", "braking for", "braking into", "on the brake", "in the braking", "before the turn", "braking zone"):
		return circuit.PhaseBrake
	case p.says(from, to, "turn in", "turn-in", "turning in", "on entry", "at entry", "entering", "on the way in", "entry of", "entry"):
		return circuit.PhaseEntry
	case p.says(from, to, "mid corner", "mid-corner", "mid turn", "middle of", "in the middle", "at the apex", "apex", "mid"):
		return circuit.PhaseMid
	case p.out(from, to):
		return circuit.PhasePickup
	case p.says(from, to, "going in", "into", "going into", "before"):
		return circuit.PhaseEntry
	}
	return ""
}

func (p *wordParser) lean(from, to int) string {
	switch {
	case p.says(from, to, "full lean", "maximum lean", "max lean", "on the side", "fully leaned", "leaned right over", "knee down", "elbow down"):
		return "full"
	case p.says(from, to, "picking it up", "picking up", "standing it up"):
		return "picking-up"
	case p.says(from, to, "upright", "straight up", "bolt upright"):
		return "upright"
	}
	return ""
}

func (p *wordParser) wholeLap() bool {
	return p.says(0, len(p.words), "everywhere", "all over", "every turn", "every corner", "whole lap", "all lap", "all turns", "all corners")
}

// settle decides an ambiguous word where the rest of the sentence leaves only
// one meaning: an end of the bike that was named, or a phase that only one of
// the meanings belongs to.
func settle(w *Word, phase circuit.Phase, p wordParser, from, to int) (Complaint, bool) {
	has := func(s ...string) bool { return p.says(from, to, s...) }
	switch w.Says {
	case "pushes":
		switch {
		case has("front"):
			return "front-washes", true
		case has("rear", "downshift", "downshifts", "shifting down", "blip"):
			return "pushes-on", true
		}
	case "chatter":
		if has("rear") && phase == circuit.PhaseBrake {
			return "hops", true
		}
	case "no-grip":
		switch {
		case has("front"):
			return "front-washes", true
		case has("rear") && (phase == circuit.PhasePickup || phase == circuit.PhaseDrive):
			return "spins", true
		case has("rear") && (phase == circuit.PhaseBrake || phase == circuit.PhaseEntry):
			return "too-much-engine-braking", true
		}
	case "nervous":
		if phase == circuit.PhaseBrake {
			return "brake-instability", true
		}
	case "shakes":
		if phase == circuit.PhaseDrive {
			return "head-shake", true
		}
	}
	return "", false
}

var filler = map[string]bool{
	"a": true, "an": true, "the": true, "it": true, "i": true, "me": true, "my": true, "bike": true, "is": true, "and": true, "of": true, "in": true, "at": true,
	"on": true, "to": true, "when": true, "while": true, "with": true, "there": true, "then": true, "turn": true, "turns": true, "corner": true, "corners": true,
	"t": true, "after": true, "that": true, "this": true, "so": true, "but": true, "also": true, "was": true, "are": true, "for": true, "from": true, "as": true,
	"rear": true, "front": true, "wheel": true, "tyre": true, "out": true, "into": true, "off": true, "up": true, "th": true, "too": true, "much": true,
	"kurve": true, "kurven": true, "ecke": true, "virage": true, "virages": true, "curva": true, "curve": true, "curvas": true, "bocht": true, "bochten": true, "tornante": true,
	"und": true, "et": true, "y": true, "e": true, "en": true, "k": true, "v": true, "c": true,
	"gets": true, "get": true, "just": true, "bit": true, "by": true, "or": true, "both": true, "you": true, "we": true, "had": true, "have": true, "through": true,
}
