package table

import (
	"strconv"
	"strings"
	"unicode/utf8"
)

// ParseDegrees reads a latitude or longitude that is more than a number: with a
// hemisphere (N S E W; O is east in German and west in Romance languages, and is
// refused), or with minutes and perhaps seconds: 48°07'02.3"N, 48 07.038 N,
// N 48.1173, 4807.038N (degrees and minutes as receivers write them), -0°42'14".
// South and west are negative.
func ParseDegrees(b []byte) (deg float64, ok bool) {
	if len(b) < 2 || len(b) > 40 {
		return 0, false
	}
	s := strings.TrimSpace(string(b))
	hemi := byte(0)
	take := func(c byte) bool {
		switch c {
		case 'N', 'S', 'E', 'W':
			hemi = c
			return true
		}
		return false
	}
	if s != "" && take(s[0]) {
		s = strings.TrimSpace(s[1:])
	} else if s != "" && take(s[len(s)-1]) {
		s = strings.TrimSpace(s[:len(s)-1])
	}
	neg := false
	if s != "" && (s[0] == '-' || s[0] == '+') {
		neg = s[0] == '-'
		s = s[1:]
	}
	var part [3]float64
	n, signs, whole := 0, 0, 0
	for s != "" {
		i := 0
		for i < len(s) && (s[i] >= '0' && s[i] <= '9' || s[i] == '.' || s[i] == ',') {
			i++
		}
		if i == 0 || n == 3 {
			return 0, false
		}
		v, err := strconv.ParseFloat(strings.Replace(s[:i], ",", ".", 1), 64)
		if err != nil || n > 0 && v >= 60 {
			return 0, false
		}
		if n == 0 {
			whole = strings.IndexAny(s[:i]+".", ".,")
		}
		part[n] = v
		n++
		s = s[i:]
		before := s
		s = strings.TrimLeft(s, " ")
		if mark, size := utf8.DecodeRuneInString(s); size > 0 && strings.ContainsRune([...]string{"°ºd", "'′’m", "\"″”s"}[n-1], mark) {
			s = strings.TrimLeft(strings.TrimPrefix(s[size:], "'"), " ")
			signs++
		} else if len(before) > 0 && len(before) == len(s) {
			return 0, false // neither a sign nor a blank before what follows
		}
	}
	// A lone number with a degree sign is a number with its unit, and "S7" a name.
	if n == 0 || hemi == 0 && (n < 2 || signs == 0) || n == 1 && signs == 0 && !strings.ContainsAny(string(b), ".,") {
		return 0, false
	}
	d := part[0]
	if n == 1 && whole >= 4 { // ddmm.mmmm, dddmm.mmmm
		deg := float64(int(d / 100))
		if d -= deg * 100; d >= 60 {
			return 0, false
		}
		d = deg + d/60
	}
	d += part[1]/60 + part[2]/3600
	limit := 180.0
	if hemi == 'N' || hemi == 'S' {
		limit = 90
	}
	if d > limit || neg && hemi != 0 {
		return 0, false
	}
	if neg || hemi == 'S' || hemi == 'W' {
		d = -d
	}
	return d + 0, true
}
