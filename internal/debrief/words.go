package debrief

import (
	"fmt"
	"sort"
	"strconv"
	"strings"
	"unicode"

	"cornerwright/internal/circuit"
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
		out.Questions = append(out.Questions, Question{About: text, Ask: "What does the bike do there? For example: holds me back, spins, pushes me on, wants engine braking, hops."})
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
			out.Questions = append(out.Questions, Question{About: h.heard, Ask: "In which turn? " + turnList(turns), Turn: true})
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
		out.Questions = append(out.Questions, Question{About: n, Ask: fmt.Sprintf("There is no turn %s here. %s", n, turnList(turns))})
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
			return fmt.Errorf("remark: there is no turn %d on this circuit; %s", n, turnList(turns))
		}
	}
	return nil
}

// Check returns an error if the remark holds a word or number that cannot be.
func (r Remark) Check() error {
	w := Lookup(r.Says)
	if w == nil {
		return fmt.Errorf("remark: %q is no complaint of the vocabulary; %s", r.Says, nearestComplaint(string(r.Says)))
	}
	if w.Ambiguous() {
		var t []string
		for _, a := range w.Means2 {
			t = append(t, string(a.Says)+" ("+a.Words+")")
		}
		return fmt.Errorf("remark: %q has two meanings: %s Say one of %s", r.Says, w.Ask, strings.Join(t, ", "))
	}
	if r.Strength < 0 || r.Strength > 3 {
		return fmt.Errorf("remark: strength is 1 (a little), 2 (clearly) or 3 (badly), not %d", r.Strength)
	}
	if r.Phase != "" {
		ok := false
		for _, p := range circuit.Phases {
			ok = ok || p == r.Phase
		}
		if !ok {
			return fmt.Errorf("remark: there is no phase %q; phases are brake, entry, mid, pickup, drive", r.Phase)
		}
	}
	return nil
}

func nearestComplaint(word string) string {
	var t []string
	for _, c := range Vocabulary() {
		t = append(t, string(c))
	}
	if near := unit.NearestWithin(word, t, 3); near != "" {
		return fmt.Sprintf("did you mean %s?", near)
	}
	return "it has " + strings.Join(t, ", ")
}

func turnList(turns []circuit.Turn) string {
	if len(turns) == 0 {
		return "No turns are known yet."
	}
	t := make([]string, len(turns))
	for i, x := range turns {
		t[i] = strconv.Itoa(x.Number)
		if x.Name != "" {
			t[i] += " " + x.Name
		}
	}
	return "The turns are " + strings.Join(t, ", ") + "."
}

type spoken struct{ text string }

// split cuts text into lower-case words; an apostrophe and a hyphen inside a
// word stay.
func split(text string) []spoken {
	var out []spoken
	var b strings.Builder
	flush := func() {
		if b.Len() > 0 {
			w := strings.Trim(b.String(), "-'")
			if w != "" {
				out = append(out, spoken{w})
			}
			b.Reset()
		}
	}
	prev := ' '
	for _, r := range plain.Replace(strings.ToLower(strings.ReplaceAll(text, "’", "'"))) {
		switch {
		case unicode.IsLetter(r) || r == '\'' || r == '-' && unicode.IsLetter(prev):
			if unicode.IsDigit(prev) && unicode.IsLetter(r) {
				flush() // "4th", "5b"
			}
			b.WriteRune(r)
		case unicode.IsDigit(r):
			if unicode.IsLetter(prev) {
				flush() // "t4"
			}
			b.WriteRune(r)
		default:
			flush()
		}
		prev = r
	}
	flush()
	return out
}

type wordParser struct {
	turns   []circuit.Turn
	words   []spoken
	used    []bool
	taken   []bool // part of a complaint's phrase: no phase or place is read from it
	number  []int  // turn number said at this word, 0 none
	unknown []string
}

// numberWords are numbers as riders of several languages say them, lower case
// and without marks over the letters.
var numberWords = func() map[string]int {
	m := map[string]int{"first": 1, "second": 2, "third": 3, "fourth": 4, "fifth": 5, "sixth": 6}
	for _, list := range []string{
		"one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen twenty",
		"eins zwei drei vier funf sechs sieben acht neun zehn elf zwolf dreizehn vierzehn funfzehn sechzehn siebzehn achtzehn neunzehn zwanzig",
		"un deux trois quatre cinq six sept huit neuf dix onze douze treize quatorze quinze seize dix-sept dix-huit dix-neuf vingt",
		"uno due tre quattro cinque sei sette otto nove dieci undici dodici tredici quattordici quindici sedici diciassette diciotto diciannove venti",
		"uno dos tres cuatro cinco seis siete ocho nueve diez once doce trece catorce quince dieciseis diecisiete dieciocho diecinueve veinte",
		"um dois tres quatro cinco seis sete oito nove dez onze doze treze quatorze quinze dezesseis dezessete dezoito dezenove vinte",
		"een twee drie vier vijf zes zeven acht negen tien elf twaalf dertien veertien vijftien zestien zeventien achttien negentien twintig",
	} {
		for i, w := range strings.Fields(list) {
			m[w] = i + 1
		}
	}
	return m
}()

var ordinals = map[string]bool{"first": true, "second": true, "third": true, "fourth": true, "fifth": true, "sixth": true}

// turnWords are the word 'turn' in those languages; shyNumbers are numbers only
// after one of them or after a word that leads to a place: in an English
// sentence they are mostly something else.
var (
	turnWords   = map[string]bool{"turn": true, "turns": true, "corner": true, "corners": true, "t": true, "kurve": true, "kurven": true, "ecke": true, "virage": true, "virages": true, "curva": true, "curve": true, "curvas": true, "bocht": true, "bochten": true, "tornante": true}
	leadsToTurn = map[string]bool{"of": true, "into": true, "in": true, "and": true, "und": true, "et": true, "y": true, "e": true, "en": true}
	shyNumbers  = map[string]bool{"one": true, "un": true, "um": true, "due": true, "once": true, "sei": true, "acht": true, "tres": true, "seize": true}
)

// plain folds letters with marks to those without: "fünf" is "funf", "très" is
// "tres". Only what the words above and people's names of turns need.
var plain = strings.NewReplacer("ä", "a", "ö", "o", "ü", "u", "ß", "ss", "é", "e", "è", "e", "ê", "e", "ë", "e", "à", "a", "â", "a", "á", "a", "ã", "a", "å", "a", "ç", "c", "î", "i", "ï", "i", "í", "i", "ì", "i", "ô", "o", "ó", "o", "ò", "o", "õ", "o", "ø", "o", "û", "u", "ú", "u", "ù", "u", "ñ", "n", "ý", "y", "š", "s", "č", "c", "ř", "r", "ž", "z", "ł", "l")

// notTurn are words after which a number is no turn: "in second gear".
var notTurn = map[string]bool{"gear": true, "laps": true, "lap": true, "rpm": true, "percent": true, "degrees": true, "clicks": true, "times": true, "thousand": true, "seconds": true, "metres": true}

// mark finds turn numbers and names.
func (p *wordParser) mark() {
	p.used = make([]bool, len(p.words))
	p.number = make([]int, len(p.words))
	known := map[int]bool{}
	for _, t := range p.turns {
		known[t.Number] = true
		if t.Name == "" {
			continue
		}
		name := split(t.Name)
		if p.name(name, t.Number) {
			continue
		}
		// "at the Mill" for Mill Bend: one word does where no other turn has it.
		for _, w := range name {
			if len(w.text) >= 4 && !commonWord(w.text) && p.ownWord(w.text, t.Number) && p.name([]spoken{w}, t.Number) {
				break
			}
		}
	}
	for i, w := range p.words {
		if p.used[i] {
			continue
		}
		n, err := strconv.Atoi(w.text)
		if err != nil {
			n = numberWords[w.text]
			if shyNumbers[w.text] && (i == 0 || !turnWords[p.words[i-1].text] && !leadsToTurn[p.words[i-1].text]) {
				n = 0
			}
		}
		if n == 0 || i+1 < len(p.words) && notTurn[p.words[i+1].text] || i > 0 && (p.words[i-1].text == "gear" || p.words[i-1].text == "lap") {
			continue
		}
		// "the second turn" is a place in the order, "second gear" is not.
		if ordinals[w.text] {
			if i+1 >= len(p.words) || p.words[i+1].text != "turn" && p.words[i+1].text != "corner" {
				continue
			}
		}
		p.used[i] = true
		if !known[n] && len(p.turns) > 0 {
			p.unknown = append(p.unknown, w.text)
			continue
		}
		p.number[i] = n
	}
	// "four to six", "4 through 6"
	for i := 0; i+2 < len(p.words); i++ {
		if p.number[i] > 0 && p.number[i+2] > p.number[i]+1 && (p.words[i+1].text == "to" || p.words[i+1].text == "through") {
			p.use(i+1, i+2)
			p.number[i+1] = -1 // a range: filled in by turnsIn
		}
	}
}

// name marks every place where the words of a turn's name stand.
func (p *wordParser) name(name []spoken, number int) bool {
	found := false
	for from := 0; len(name) > 0; {
		i := p.find(name, from, len(p.words))
		if i < 0 {
			break
		}
		if !p.used[i] {
			p.number[i] = number
			p.use(i, i+len(name))
			found = true
		}
		from = i + len(name)
	}
	return found
}

// ownWord tells whether no other turn's name has the word.
func (p *wordParser) ownWord(word string, number int) bool {
	for _, t := range p.turns {
		if t.Number == number {
			continue
		}
		for _, w := range split(t.Name) {
			if w.text == word {
				return false
			}
		}
	}
	return true
}

var common map[string]bool

// commonWord tells whether a word means something to the parser, or is what
// many turns are called, so that it names no turn by itself.
func commonWord(w string) bool { return common[w] || filler[w] || numberWords[w] > 0 || notTurn[w] }

func init() {
	common = map[string]bool{}
	for _, w := range strings.Fields("bend hairpin chicane esses straight loop kink left right long fast slow upper lower inner outer north south east west first last great little hill brake brakes braking throttle lean drive exit entry apex middle pick picking opening everywhere") {
		common[w] = true
	}
	for i := range Complaints {
		for _, h := range Complaints[i].Heard {
			for _, w := range split(h) {
				common[w.text] = true
			}
		}
	}
}

func (p *wordParser) use(i, j int) {
	for ; i < j; i++ {
		p.used[i] = true
	}
}

// find returns where the phrase stands in words from..to, -1 if it does not.
func (p *wordParser) find(phrase []spoken, from, to int) int {
	if len(phrase) == 0 {
		return -1
	}
	for i := from; i+len(phrase) <= to; i++ {
		ok := true
		for k := range phrase {
			if p.words[i+k].text != phrase[k].text {
				ok = false
				break
			}
		}
		if ok {
			return i
		}
	}
	return -1
}

func (p *wordParser) says(from, to int, phrases ...string) bool {
	for _, s := range phrases {
		w := split(s)
		for at := from; ; {
			i := p.find(w, at, to)
			if i < 0 {
				break
			}
			if !p.isTaken(i, i+len(w)) {
				p.use(i, i+len(w))
				return true
			}
			at = i + 1
		}
	}
	return false
}

func (p *wordParser) isTaken(i, j int) bool {
	for ; i < j && i < len(p.taken); i++ {
		if p.taken[i] {
			return true
		}
	}
	return false
}

func (p *wordParser) turnsIn(from, to int) []int {
	var out []int
	seen := map[int]bool{}
	add := func(n int) {
		if !seen[n] {
			seen[n] = true
			out = append(out, n)
		}
	}
	for i := from; i < to; i++ {
		switch {
		case p.number[i] > 0:
			add(p.number[i])
		case p.number[i] < 0 && i > from && i+1 < to:
			for _, t := range p.turns {
				if t.Number > p.number[i-1] && t.Number < p.number[i+1] {
					add(t.Number)
				}
			}
		}
	}
	sort.Ints(out)
	return out
}

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

// PhaseWords are the phases as people say them.
var PhaseWords = map[circuit.Phase]string{
	circuit.PhaseBrake: "on the brakes", circuit.PhaseEntry: "turning in", circuit.PhaseMid: "in the middle",
	circuit.PhasePickup: "picking up the throttle", circuit.PhaseDrive: "on the drive out",
}

var leanWords = map[string]string{"full": "at full lean", "picking-up": "while picking the bike up", "upright": "upright"}

var strengthWords = map[int]string{1: "a little", 2: "clearly", 3: "badly"}

func echo(remarks []Remark, turns []circuit.Turn) string {
	var all []string
	for _, r := range remarks {
		s := TurnWords(r.Turns, turns)
		if w := PhaseWords[r.Phase]; w != "" {
			s += ", " + w
		}
		s += ": " + strings.ReplaceAll(string(r.Says), "-", " ")
		if w := Lookup(r.Says); w != nil {
			s += " (" + w.Means + ")"
		}
		if w := leanWords[r.Lean]; w != "" {
			s += ", " + w
		}
		if w := strengthWords[r.Strength]; w != "" {
			s += ", " + w
		}
		all = append(all, s)
	}
	return strings.Join(all, "; ")
}

// TurnWords names turns: "turn 4", "turns 4 and 5 (Mill)", "the whole lap".
func TurnWords(numbers []int, turns []circuit.Turn) string {
	if len(numbers) == 0 {
		return "the whole lap"
	}
	t := make([]string, len(numbers))
	for i, n := range numbers {
		t[i] = strconv.Itoa(n)
		for _, x := range turns {
			if x.Number == n && x.Name != "" {
				t[i] += " (" + x.Name + ")"
			}
		}
	}
	word := "turn "
	if len(t) > 1 {
		word = "turns "
	}
	if len(t) == 1 {
		return word + t[0]
	}
	return word + strings.Join(t[:len(t)-1], ", ") + " and " + t[len(t)-1]
}
