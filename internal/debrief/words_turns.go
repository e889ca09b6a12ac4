package debrief

import (
	"sort"
	"strconv"
	"strings"
	"unicode"

	"cornerwright/internal/circuit"
)

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
