package table

import (
	"strings"
	"time"
)

// parseClock reads "h:mm:ss.fff", "h:mm:ss:fff", "mm:ss,fff", "-0:01.5": seconds as an exact
// decimal. Minutes and seconds above 59 are refused except in the first part.
func parseClock(b []byte) (m int64, k int, ok bool) {
	neg := false
	if len(b) > 0 && b[0] == '-' {
		neg, b = true, b[1:]
	}
	var parts [3]int64
	n, digits, have := 0, 0, false
	i := 0
	for ; i < len(b); i++ {
		c := b[i]
		switch {
		case c >= '0' && c <= '9':
			if digits++; digits > 9 {
				return 0, 0, false
			}
			parts[n] = parts[n]*10 + int64(c-'0')
			have = true
		case c == ':':
			if !have {
				return 0, 0, false
			}
			if n == 2 { // hh:mm:ss:fff
				goto fraction
			}
			n++
			digits, have = 0, false
		default:
			goto fraction
		}
	}
fraction:
	if n == 0 || !have {
		return 0, 0, false
	}
	for j := 1; j <= n; j++ {
		// 60 only as a leap second, in the last place.
		if parts[j] > 59 && !(j == 2 && parts[j] == 60) {
			return 0, 0, false
		}
	}
	sec := parts[0]*60 + parts[1]
	if n == 2 {
		sec = sec*60 + parts[2]
	}
	if i < len(b) {
		if b[i] != '.' && b[i] != ',' && b[i] != ':' {
			return 0, 0, false
		}
		for i++; i < len(b); i++ {
			if b[i] < '0' || b[i] > '9' || k == 9 {
				return 0, 0, false
			}
			sec = sec*10 + int64(b[i]-'0')
			k++
		}
	}
	if neg {
		sec = -sec
	}
	return sec, k, true
}

// ParseDateTime reads ISO 8601 and RFC 3339 date-times and their common
// relatives: a blank for T, no zone (taken as UTC), a comma before the
// fraction, "2026/03/08 10:00:00", "08.03.2026 10:00:00.25", the basic form
// 20260308T100000Z, lower-case z and a leap second 23:59:60 (read as the next
// second's start). It returns Unix seconds and the fraction as an exact decimal
// of k places.
func ParseDateTime(b []byte) (sec int64, frac int64, k int, ok bool) {
	s := strings.TrimSpace(string(b))
	if len(s) < 15 || len(s) > 40 {
		return
	}
	var y, mo, d int
	num := func(t string) int {
		v := 0
		for i := 0; i < len(t); i++ {
			if t[i] < '0' || t[i] > '9' {
				return -1
			}
			v = v*10 + int(t[i]-'0')
		}
		return v
	}
	rest := ""
	switch {
	case isSep(s[4]) && s[7] == s[4]: // 2026-03-08
		y, mo, d = num(s[:4]), num(s[5:7]), num(s[8:10])
		rest = s[10:]
	case s[2] == '.' && s[5] == '.': // 08.03.2026
		d, mo, y = num(s[:2]), num(s[3:5]), num(s[6:10])
		rest = s[10:]
	case num(s[:8]) >= 0: // 20260308
		y, mo, d = num(s[:4]), num(s[4:6]), num(s[6:8])
		rest = s[8:]
	default:
		return
	}
	if y < 0 || mo < 1 || mo > 12 || d < 1 || d > 31 || rest == "" {
		return
	}
	if t := time.Date(y, time.Month(mo), d, 0, 0, 0, 0, time.UTC); t.Day() != d {
		return // 30 February
	}
	switch rest[0] {
	case 'T', 't', ' ', '_':
		rest = strings.TrimLeft(rest[1:], " ")
	default:
		return
	}
	// Clock.
	var hh, mm, ss int
	switch {
	case len(rest) >= 8 && rest[2] == ':' && rest[5] == ':':
		hh, mm, ss = num(rest[:2]), num(rest[3:5]), num(rest[6:8])
		rest = rest[8:]
	case len(rest) >= 7 && rest[1] == ':' && rest[4] == ':':
		hh, mm, ss = num(rest[:1]), num(rest[2:4]), num(rest[5:7])
		rest = rest[7:]
	case len(rest) >= 6 && num(rest[:6]) >= 0:
		hh, mm, ss = num(rest[:2]), num(rest[2:4]), num(rest[4:6])
		rest = rest[6:]
	default:
		return
	}
	if hh < 0 || hh > 23 || mm < 0 || mm > 59 || ss < 0 || ss > 60 {
		return
	}
	if rest != "" && (rest[0] == '.' || rest[0] == ',') {
		i := 1
		for ; i < len(rest) && rest[i] >= '0' && rest[i] <= '9'; i++ {
			if k < 9 {
				frac = frac*10 + int64(rest[i]-'0')
				k++
			}
		}
		if i == 1 {
			return
		}
		rest = rest[i:]
	}
	zone := 0
	rest = strings.TrimSpace(rest)
	switch {
	case rest == "" || rest == "Z" || rest == "z" || rest == "UTC":
	case (rest[0] == '+' || rest[0] == '-') && (len(rest) == 6 && rest[3] == ':' || len(rest) == 5 || len(rest) == 3):
		zh, zm := num(rest[1:3]), 0
		if len(rest) == 6 {
			zm = num(rest[4:6])
		} else if len(rest) == 5 {
			zm = num(rest[3:5])
		}
		if zh < 0 || zh > 23 || zm < 0 || zm > 59 {
			return
		}
		zone = zh*3600 + zm*60
		if rest[0] == '-' {
			zone = -zone
		}
	default:
		return
	}
	sec = time.Date(y, time.Month(mo), d, hh, mm, ss, 0, time.UTC).Unix() - int64(zone)
	return sec, frac, k, true
}

func isSep(c byte) bool { return c == '-' || c == '/' || c == '.' }

// kindOf guesses what one cell holds.
func kindOf(b []byte, decimal byte) (Kind, bool) {
	c := parseNumber(b, decimal)
	switch c.kind {
	case isBlank:
		return Number, false
	case isDecimal, isFloat:
		return Number, true
	}
	if _, _, ok := parseClock(b); ok {
		return Clock, true
	}
	if _, _, _, ok := ParseDateTime(b); ok {
		return DateTime, true
	}
	if _, ok := ParseDegrees(b); ok {
		return Degrees, true
	}
	if n, u := splitUnit(b); u != "" {
		if c := parseNumber(n, decimal); c.kind <= isFloat {
			return Number, true
		}
	}
	return Label, true
}
