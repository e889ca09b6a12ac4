package draw

import (
	"math"
	"strconv"
	"strings"
)

// Scale maps values onto a stretch of the canvas, linearly. From..To are
// values; Lo..Hi the millimetres they lie at (Lo may be the greater: y runs
// downwards).
type Scale struct{ From, To, Lo, Hi float64 }

// At returns the place of a value, NaN for NaN.
func (s Scale) At(v float64) float64 {
	if s.To == s.From {
		return (s.Lo + s.Hi) / 2
	}
	return s.Lo + (v-s.From)/(s.To-s.From)*(s.Hi-s.Lo)
}

// Clamp is At held to the stretch.
func (s Scale) Clamp(v float64) float64 {
	p := s.At(v)
	a, b := math.Min(s.Lo, s.Hi), math.Max(s.Lo, s.Hi)
	return math.Max(a, math.Min(b, p))
}

// Ticks returns places at 1, 2 or 5 times a power of ten within [from, to], at
// most max of them, and the number of decimals they need.
func Ticks(from, to float64, max int) (at []float64, decimals int) {
	if !finite(from, to) || max < 1 {
		return nil, 0
	}
	if from > to {
		from, to = to, from
	}
	if from == to {
		return []float64{from}, 0
	}
	raw := (to - from) / float64(max)
	exp := math.Floor(math.Log10(raw))
	// The loop ends: each turn makes the step larger.
	for k := 0; k < 9; k++ {
		m := []float64{1, 2, 5}[k%3]
		step := m * math.Pow(10, exp+float64(k/3))
		lo, hi := math.Ceil(from/step-1e-9), math.Floor(to/step+1e-9)
		if n := int(hi-lo) + 1; n >= 1 && n <= max {
			at = make([]float64, 0, n)
			for i := lo; i <= hi; i++ {
				v := i * step
				if v == 0 {
					v = 0 // no minus zero
				}
				at = append(at, v)
			}
			d := -(exp + float64(k/3))
			if d > 0 {
				decimals = int(d)
			}
			return at, decimals
		}
	}
	return nil, 0
}

// Number prints v with fixed decimals and a true minus sign; "–" for NaN.
func Number(v float64, decimals int) string {
	if math.IsNaN(v) {
		return "–"
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.HasPrefix(s, "-") {
		if strings.Trim(s[1:], "0.") == "" {
			return s[1:]
		}
		return "−" + s[1:]
	}
	return s
}

// Signed is Number with a plus sign for positive values.
func Signed(v float64, decimals int) string {
	s := Number(v, decimals)
	if v > 0 && strings.Trim(s, "0.") != "" {
		return "+" + s
	}
	return s
}

// LapTime prints seconds as m:ss.fff, or s.fff below a minute.
func LapTime(s float64, decimals int) string {
	if !finite(s) {
		return "–"
	}
	sign := ""
	if s < 0 {
		sign, s = "−", -s
	}
	p := math.Pow(10, float64(decimals))
	n := math.Round(s * p)
	m := math.Floor(n / (60 * p))
	rest := n/p - 60*m
	if m == 0 {
		return sign + strconv.FormatFloat(rest, 'f', decimals, 64)
	}
	r := strconv.FormatFloat(rest, 'f', decimals, 64)
	if rest < 10 {
		r = "0" + r
	}
	return sign + strconv.FormatFloat(m, 'f', 0, 64) + ":" + r
}

// span of finite values with a margin of share m at both ends; ok is false with
// no finite value.
func span(m float64, vs ...[]float64) (lo, hi float64, ok bool) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range vs {
		for _, x := range v {
			if finite(x) {
				lo, hi = math.Min(lo, x), math.Max(hi, x)
			}
		}
	}
	if lo > hi {
		return 0, 1, false
	}
	if lo == hi {
		d := math.Max(math.Abs(lo)*0.05, 1e-6)
		return lo - d, hi + d, true
	}
	d := (hi - lo) * m
	return lo - d, hi + d, true
}
