package table

import (
	"strings"

	"cornerwright/internal/unit"
)

// trimUnit drops brackets around a unit.
func trimUnit(s string) string {
	s = strings.TrimSpace(s)
	if n := len(s); n >= 2 && (s[0] == '[' && s[n-1] == ']' || s[0] == '(' && s[n-1] == ')' || s[0] == '{' && s[n-1] == '}' || s[0] == '<' && s[n-1] == '>') {
		return strings.TrimSpace(s[1 : n-1])
	}
	return s
}

// SplitHeader parts a header cell in name and unit: "Speed [km/h]",
// "Lean (deg)", "v in m/s", "Brake / bar", "Speed, km/h". Brackets always hold
// a unit if they are square, or if what they hold is a known unit. Where
// nothing tells, the unit is empty and the whole cell is the name; units
// stuck on with an underscore ("speed_kmh") are left to the one who knows
// which channel is meant.
func SplitHeader(cell string) (name, u string) {
	cell = strings.TrimSpace(strings.Trim(strings.TrimSpace(cell), "\""))
	if n := len(cell); n > 2 {
		for _, br := range [...]struct{ open, close byte }{{'[', ']'}, {'(', ')'}, {'{', '}'}, {'<', '>'}} {
			i := strings.LastIndexByte(cell, br.open)
			j := strings.LastIndexByte(cell, br.close)
			if i <= 0 || j < i {
				continue
			}
			// Nested pairs as in "bar(g)" or "(deg (right +))": take the outer one.
			if k := strings.IndexByte(cell, br.open); k > 0 && strings.Count(cell, string(br.open)) > 1 {
				if _, ok := unit.Lookup(cell[i+1 : j]); !ok {
					i = k
				}
			}
			inner := strings.TrimSpace(cell[i+1 : j])
			rest := strings.TrimSpace(cell[:i] + " " + cell[j+1:])
			if _, ok := unit.Lookup(inner); ok && inner != "" {
				return rest, inner
			}
			// A note after the unit, as in "(deg, right +)".
			if head, _, ok := strings.Cut(inner, ","); ok {
				if _, ok := unit.Lookup(head); ok && strings.TrimSpace(head) != "" {
					return rest, strings.TrimSpace(head)
				}
			}
			if br.open == '[' && inner != "" {
				return rest, inner
			}
		}
	}
	for _, sep := range []string{" in ", " / ", ", ", " - ", ":", "/"} {
		i := strings.LastIndex(cell, sep)
		if sep == "/" { // only "Speed/km/h" remains: cut at the first
			i = strings.Index(cell, sep)
		}
		if i <= 0 {
			continue
		}
		tail := strings.TrimSpace(cell[i+len(sep):])
		if q, ok := unit.Lookup(tail); ok && q.Quantity != unit.None && tail != "" {
			return strings.TrimSpace(cell[:i]), tail
		}
	}
	// "Speed km/h", "Lean deg", "Throttle %": the last word is a unit of more
	// than one letter, or a sign.
	if i := strings.LastIndexAny(cell, " \t"); i > 0 {
		tail := cell[i+1:]
		if q, ok := unit.Lookup(tail); ok && q.Quantity != unit.None && (len(tail) > 1 || tail == "%" || tail == "°") && !nameWord[strings.ToLower(tail)] {
			return strings.TrimSpace(cell[:i]), tail
		}
	}
	if n := len(cell); n > 1 && cell[n-1] == '%' {
		return strings.TrimSpace(cell[:n-1]), "%"
	}
	return cell, ""
}

// nameWord lists spellings of units that are rather words of a name when they
// end it ("engine rpm" is both: the unit is then the same).
var nameWord = map[string]bool{"lambda": true, "in": true, "at": true, "turn": true, "turns": true, "ratio": true, "rev": true, "revs": true, "of": true, "giri": true, "min": true, "la": true, "ps": true, "ch": true}

// cp1252 maps a byte of the Windows variant of Latin-1 to its rune.
func cp1252(b byte) rune {
	if b < 0x80 || b > 0x9f {
		return rune(b)
	}
	return [...]rune{'€', 0x81, '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', 0x8d, 'Ž', 0x8f,
		0x90, '‘', '’', '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', 0x9d, 'ž', 'Ÿ'}[b-0x80]
}
