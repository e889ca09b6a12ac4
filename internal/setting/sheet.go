package setting

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"sort"
	"strconv"

	"cornerwright/internal/say"
)

// NewSheet returns a sheet of its own values: nothing of first is shared.
// First maps slot -> setting id -> values, as a bike file gives them.
func NewSheet(bike string, first map[string]map[string]Values) Sheet {
	return Sheet{Bike: bike, Slots: cloneSlots(first)}
}

func cloneSlots(in map[string]map[string]Values) map[string]map[string]Values {
	out := make(map[string]map[string]Values, len(in))
	for slot, m := range in {
		o := make(map[string]Values, len(m))
		for id, v := range m {
			o[id] = v.Clone()
		}
		out[slot] = o
	}
	return out
}

// Values returns a copy of one setting's values in a slot, nil if there are
// none.
func (s Sheet) Values(slot, id string) Values {
	v, ok := s.Slots[slot][id]
	if !ok {
		return nil
	}
	return v.Clone()
}

// sameValue tells whether two values are the same as far as a person can type
// them: nine digits.
func sameValue(a, b float64) bool {
	return a == b || math.Abs(a-b) <= 1e-9*math.Max(1, math.Max(math.Abs(a), math.Abs(b)))
}

// Apply returns the sheet that the step makes of the given one. The given sheet
// is untouched. The new sheet's Parent is the old one's number; its own number
// is the step's To, 0 as long as nobody has numbered it.
//
// It is an error if the slot, the setting or a cell is not there, if a cell is
// named twice, or if a cell does not hold the old value that the step was made
// from: then the step belongs to another sheet.
func Apply(sheet Sheet, step Step) (Sheet, error) {
	v, ok := sheet.Slots[step.Slot][step.Setting]
	if !ok {
		if _, slot := sheet.Slots[step.Slot]; !slot {
			return Sheet{}, say.Error("apply step to sheet {number}: there is no slot {slot}; slots are {slots}", sheet.Number, fmt.Sprintf("%q", step.Slot), keys(sheet.Slots))
		}
		return Sheet{}, say.Error("apply step to sheet {number}: slot {slot} has no setting {setting}; it has {slots}", sheet.Number, step.Slot, fmt.Sprintf("%q", step.Setting), keys(sheet.Slots[step.Slot]))
	}
	if len(step.Cells) == 0 {
		return Sheet{}, say.Error("apply step to sheet {number}: the step changes no cell of {setting}", sheet.Number, step.Setting)
	}
	seen := make(map[[2]int]bool, len(step.Cells))
	changed := v.Clone()
	for _, c := range step.Cells {
		at := [2]int{c.Row, c.Column}
		old := v.at(c.Row, c.Column)
		switch {
		case math.IsNaN(old):
			return Sheet{}, say.Error("apply step to sheet {number}: {setting} has no row {row}, column {column}", sheet.Number, step.Setting, c.Row+1, c.Column+1)
		case seen[at]:
			return Sheet{}, say.Error("apply step to sheet {number}: {setting} row {row}, column {column} is changed twice", sheet.Number, step.Setting, c.Row+1, c.Column+1)
		case !sameValue(old, c.Old):
			return Sheet{}, say.Error("apply step to sheet {number}: {setting} row {row}, column {column} holds {old}, the step was made from {old2}; make the step anew from this sheet", sheet.Number, step.Setting, c.Row+1, c.Column+1, Number(old), Number(c.Old))
		case math.IsNaN(c.New) || math.IsInf(c.New, 0):
			return Sheet{}, say.Error("apply step to sheet {number}: {setting} row {row}, column {column} would hold no number", sheet.Number, step.Setting, c.Row+1, c.Column+1)
		}
		seen[at] = true
		changed[c.Row][c.Column] = c.New
	}
	out := Sheet{Number: step.To, Bike: sheet.Bike, Slots: cloneSlots(sheet.Slots), Parent: sheet.Number}
	out.Slots[step.Slot][step.Setting] = changed
	return out, nil
}

func keys[V any](m map[string]V) string {
	k := make([]string, 0, len(m))
	for id := range m {
		k = append(k, id)
	}
	sort.Strings(k)
	s := ""
	for i, id := range k {
		if i > 0 {
			s += ", "
		}
		s += id
	}
	if s == "" {
		return "none"
	}
	return s
}

// Difference is one cell in which two sheets differ. Old or New is NaN where
// one of the sheets has no such cell.
type Difference struct {
	Slot, Setting string
	Row, Column   int
	Old, New      float64
}

// Diff returns every cell in which b differs from a, in order of slot, setting,
// row and column.
func Diff(a, b Sheet) []Difference {
	var d []Difference
	for _, slot := range unionKeys(a.Slots, b.Slots) {
		for _, id := range unionKeys(a.Slots[slot], b.Slots[slot]) {
			va, vb := a.Slots[slot][id], b.Slots[slot][id]
			for i := range max(len(va), len(vb)) {
				n := 0
				if i < len(va) {
					n = len(va[i])
				}
				if i < len(vb) {
					n = max(n, len(vb[i]))
				}
				for j := range n {
					x, y := va.at(i, j), vb.at(i, j)
					if math.IsNaN(x) && math.IsNaN(y) || sameValue(x, y) {
						continue
					}
					d = append(d, Difference{slot, id, i, j, x, y})
				}
			}
		}
	}
	return d
}

func unionKeys[V any](a, b map[string]V) []string {
	set := make(map[string]bool, len(a)+len(b))
	for k := range a {
		set[k] = true
	}
	for k := range b {
		set[k] = true
	}
	out := make([]string, 0, len(set))
	for k := range set {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}

// Past is the value of one cell on one sheet.
type Past struct {
	Sheet int
	Value float64
}

// History returns the values that one cell has had over the given sheets, in
// their order, leaving out sheets that did not change it. Row and column count
// from 0.
func History(sheets []Sheet, slot, id string, row, column int) []Past {
	var out []Past
	for _, s := range sheets {
		x := s.Slots[slot][id].at(row, column)
		if math.IsNaN(x) {
			continue
		}
		if n := len(out); n > 0 && sameValue(out[n-1].Value, x) {
			continue
		}
		out = append(out, Past{s.Number, x})
	}
	return out
}

// Checksum is the fingerprint of a whole slot: what the reference slot must
// still show after a trial was loaded.
func (s Sheet) Checksum(slot string) string {
	var b []byte
	for _, id := range unionKeys(s.Slots[slot], map[string]Values(nil)) {
		b = append(b, id...)
		b = append(b, '\n')
		b = canonical(b, s.Slots[slot][id])
	}
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:6])
}

func canonical(b []byte, v Values) []byte {
	for _, row := range v {
		for _, x := range row {
			if x == 0 {
				x = 0 // a negative zero is a zero
			}
			b = strconv.AppendFloat(b, x, 'g', -1, 64)
			b = append(b, ' ')
		}
		b = append(b, '\n')
	}
	return b
}

// Number prints a value as it is typed: the shortest decimal that reads back
// to nine digits, a point as decimal sign, no exponent.
func Number(x float64) string {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return strconv.FormatFloat(math.Abs(x), 'g', -1, 64)
	}
	digits := 9 - int(math.Ceil(math.Log10(math.Abs(x))))
	digits = min(max(digits, 0), 15)
	p := math.Pow(10, float64(digits))
	return strconv.FormatFloat(math.Round(x*p)/p, 'f', -1, 64)
}
