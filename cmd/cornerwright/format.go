package main

import (
	"fmt"
	"math"
	"strings"
)

// lapTime prints seconds as a lap time: 1:43.271.
func lapTime(s float64) string {
	if math.IsNaN(s) || s <= 0 {
		return "-"
	}
	ms := int64(math.Round(s * 1000))
	return fmt.Sprintf("%d:%02d.%03d", ms/60000, ms/1000%60, ms%1000)
}

// dec prints a value with a number of decimals, "-" where it is not known.
func dec(x float64, n int) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "-"
	}
	s := fmt.Sprintf("%.*f", n, x)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

// signed prints a value with its sign.
func signed(x float64, n int) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "-"
	}
	s := dec(x, n)
	if x > 0 && strings.Trim(s, "0.") != "" {
		s = "+" + s
	}
	return s
}

// clock prints an instant on the recording's clock.
func clock(s float64) string {
	if math.IsNaN(s) {
		return "-"
	}
	return fmt.Sprintf("%.2f", s)
}

// probability prints a p value.
func probability(p float64) string {
	if p < 0.001 {
		return "< 0.001"
	}
	return dec(p, 3)
}

// between prints a range, open where an end is not known.
func between(lo, hi float64, n int) string {
	switch a, b := dec(lo, n), dec(hi, n); {
	case a == "-" && b == "-":
		return "-"
	case b == "-":
		return "at least " + a
	case a == "-":
		return "at most " + b
	default:
		return a + " to " + b
	}
}

const deg = 180 / math.Pi

// wrap breaks words at a width, with an indent.
func wrap(s string, width int, indent string) string {
	var b strings.Builder
	for i, para := range strings.Split(s, "\n") {
		if i > 0 {
			b.WriteByte('\n')
		}
		n := 0
		for j, w := range strings.Fields(para) {
			l := len([]rune(w))
			switch {
			case j == 0:
				b.WriteString(indent)
			case n+1+l > width:
				b.WriteString("\n" + indent)
				n = 0
			default:
				b.WriteByte(' ')
				n++
			}
			b.WriteString(w)
			n += l
		}
	}
	return b.String()
}
