package table

import (
	"bytes"
	"math"
	"strconv"
	"strings"
)

// pow10 holds the powers of ten that float64 has exactly.
var pow10 = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// ipow10 holds the powers of ten that int64 has.
var ipow10 = [...]int64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18}

// maxDecimals is the most decimals a mantissa column carries.
const maxDecimals = 18

// cell is what one cell's text says.
type cell struct {
	m    int64
	k    int
	f    float64
	kind cellKind
}

type cellKind uint8

const (
	isDecimal cellKind = iota // m / 10^k
	isFloat                   // f
	isBlank
	isBad
)

// parseNumber reads a trimmed cell. The fast rule is Clinger's: an integer
// below 2^53 divided by a power of ten up to 10^22, both exact in float64, is
// rounded once and so is the nearest float64. What does not fit goes to
// strconv. A negative zero is read as zero: no quantity here tells them apart,
// and storage as integers could not.
func parseNumber(b []byte, decimal byte) cell {
	if len(b) == 0 {
		return cell{kind: isBlank}
	}
	i, neg := 0, false
	switch b[0] {
	case '-':
		neg, i = true, 1
	case '+':
		i = 1
	}
	var m int64
	digits, k, seen := 0, 0, 0
	for ; i < len(b) && b[i]-'0' <= 9; i++ {
		if digits < 18 {
			m = m*10 + int64(b[i]-'0')
		}
		if m != 0 {
			digits++
		}
		seen++
	}
	if i < len(b) && b[i] == decimal {
		for i++; i < len(b) && b[i]-'0' <= 9; i++ {
			if digits < 18 {
				m = m*10 + int64(b[i]-'0')
			}
			if m != 0 {
				digits++
			}
			k++
			seen++
		}
	}
	if i == len(b) && seen > 0 && digits < 18 && k <= maxDecimals && m < maxMant {
		if neg {
			m = -m
		}
		return cell{m: m, k: k}
	}
	return parseSlow(b, decimal)
}

// blankWords are cells that say "nothing here".
var blankWords = map[string]bool{
	"nan": true, "null": true, "nil": true, "none": true, "na": true, "n/a": true, "#n/a": true,
	"-": true, "--": true, "---": true, "inf": true, "+inf": true, "-inf": true, "-nan": true,
	"1.#qnan": true, "-1.#ind": true, "1.#inf": true, "infinity": true, "-infinity": true, "#num!": true, "?": true, "*": true,
}

func parseSlow(b []byte, decimal byte) cell {
	if len(b) > 400 {
		return cell{kind: isBad}
	}
	s := string(b)
	if strings.ContainsAny(s, "xX_pP") { // strconv takes hex floats and underscores; a table does not
		return cell{kind: isBad}
	}
	low := strings.ToLower(s)
	if blankWords[low] {
		return cell{kind: isBlank}
	}
	s = strings.ReplaceAll(s, "−", "-") // a typographic minus
	if decimal != '.' {
		s = strings.ReplaceAll(s, ".", "\x00")
		s = strings.ReplaceAll(s, string(decimal), ".")
		s = strings.ReplaceAll(s, "\x00", ",")
	}
	if grouped(s) {
		s = strings.NewReplacer(",", "", "'", "", " ", "", "\u00a0", "", "\u202f", "").Replace(s)
		if c := parsePlain(s); c.kind != isBad {
			return c
		}
	}
	return parsePlain(s)
}

func parsePlain(s string) cell {
	f, err := strconv.ParseFloat(s, 64)
	switch {
	case err == nil && !math.IsNaN(f) && !math.IsInf(f, 0):
		if strings.Trim(s, "+-0123456789.") == "" {
			if c := parseNumberPlain(s); c.kind == isDecimal {
				return c
			}
		}
		return cell{f: f + 0, kind: isFloat}
	case err == nil:
		return cell{kind: isBlank}
	}
	return cell{kind: isBad}
}

// parseNumberPlain retries the exact rule once signs and groups are gone.
func parseNumberPlain(s string) cell {
	neg := strings.HasPrefix(s, "-")
	s = strings.TrimLeft(s, "+-")
	whole, frac, _ := strings.Cut(s, ".")
	if len(frac) > maxDecimals || len(whole)+len(frac) > 40 {
		return cell{kind: isFloat}
	}
	m, err := strconv.ParseInt(strings.TrimLeft(whole+frac, "0")+"", 10, 64)
	if strings.Trim(whole+frac, "0") == "" {
		m, err = 0, nil
	}
	if err != nil || m >= maxMant {
		return cell{kind: isFloat}
	}
	if neg {
		m = -m
	}
	return cell{m: m, k: len(frac)}
}

// grouped tells whether a number (decimal point '.') carries thousands
// separators: groups of three after the first.
func grouped(s string) bool {
	s = strings.TrimLeft(s, "+-")
	whole, _, _ := strings.Cut(s, ".")
	for _, sep := range []string{",", "'", " ", "\u00a0", "\u202f"} {
		if !strings.Contains(whole, sep) {
			continue
		}
		parts := strings.Split(whole, sep)
		if len(parts[0]) == 0 || len(parts[0]) > 3 {
			return false
		}
		for _, p := range parts[1:] {
			if len(p) != 3 {
				return false
			}
		}
		return true
	}
	return false
}

// splitUnit cuts a unit off the end of a cell like "12.3 km/h" or "45%".
func splitUnit(b []byte) (num []byte, u string) {
	i := len(b)
	for i > 0 && !(b[i-1] >= '0' && b[i-1] <= '9') && b[i-1] != '.' {
		i--
	}
	// A unit may itself end in a digit (m/s2): step back over one group.
	if i == len(b) {
		for i > 0 && b[i-1] >= '0' && b[i-1] <= '9' {
			i--
		}
		for i > 0 && !(b[i-1] >= '0' && b[i-1] <= '9') {
			i--
		}
	}
	if i == 0 || i == len(b) {
		return b, ""
	}
	u = strings.TrimSpace(string(b[i:]))
	if u == "" || u == "-" || !knownUnit(u) {
		return b, ""
	}
	return bytes.TrimSpace(b[:i]), u
}
