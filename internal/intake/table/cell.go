package table

import (
	"bytes"
	"strings"
)

// decimalsOf counts the digits behind the decimal sign; -1 where there is no
// plain number.
func decimalsOf(cell string, decimal byte) int {
	_, frac, ok := strings.Cut(cell, string(decimal))
	if strings.Trim(frac, "0123456789") != "" {
		return -1
	}
	if !ok {
		return 0
	}
	return len(frac)
}

// cell reads one cell into a column by its kind; false if it cannot be read.
func (p *parser) cell(col *ColumnBlock, dc *Column, row int, text []byte, line int) bool {
	if len(text) == 0 {
		col.blank(row)
		return true
	}
	switch dc.Kind {
	case Number:
		c := parseNumber(text, p.d.Decimal)
		switch c.kind {
		case isDecimal:
			col.put(row, c.m, c.k, p.room)
			return true
		case isFloat:
			col.putFloat(row, c.f, p.room)
			return true
		case isBlank:
			col.blank(row)
			return true
		}
		if v, ok := dc.Words[strings.ToLower(string(text))]; ok {
			col.putFloat2(row, v, p.room)
			return true
		}
		if num, u := splitUnit(text); u != "" {
			if c := parseNumber(num, p.d.Decimal); c.kind == isDecimal && (col.cellU == "" || col.cellU == u) {
				col.put(row, c.m, c.k, p.room)
				col.cellU = u
				return true
			}
		}
	case Clock:
		if m, k, ok := parseClock(text); ok {
			col.put(row, m, k, p.room)
			return true
		}
		if c := parseNumber(text, p.d.Decimal); c.kind == isBlank {
			col.blank(row)
			return true
		}
	case DateTime:
		if sec, frac, k, ok := ParseDateTime(text); ok {
			sec -= dc.Base
			if k < 10 && sec > -1e8 && sec < 1e8 {
				m := sec*ipow10[k] + frac
				if m > -maxMant && m < maxMant {
					col.put(row, m, k, p.room)
					return true
				}
			}
			col.putFloat(row, float64(sec)+float64(frac)/pow10[k], p.room)
			return true
		}
	case Degrees:
		if v, ok := ParseDegrees(text); ok {
			col.putFloat(row, v, p.room)
			return true
		}
		if c := parseNumber(text, p.d.Decimal); c.kind == isBlank {
			col.blank(row)
			return true
		}
	case Label:
		s := string(text)
		i, ok := col.labels[s]
		if !ok {
			if len(col.labels) >= maxLabels || len(s) > 200 {
				col.blank(row)
				return true
			}
			i = len(col.words)
			col.labels[s] = i
			col.words = append(col.words, s)
		}
		col.put(row, int64(i), 0, p.room)
		return true
	case Skip:
		col.blank(row)
		return true
	}
	col.blank(row)
	if col.bad == 0 {
		col.badAt, col.badTxt = line, Shorten(text)
	}
	col.bad++
	return false
}

// maxLabels bounds the distinct words kept of one column.
const maxLabels = 256

// Shorten returns a line or cell for a message: no control bytes, at most 120
// bytes.
func Shorten(b []byte) string {
	b = bytes.TrimRight(b, "\r\n")
	cut := false
	if len(b) > 120 {
		b, cut = b[:120], true
	}
	s := strings.Map(func(r rune) rune {
		if r == '\t' {
			return '\t'
		}
		if r < ' ' || r == 0x7f || r == '\uFFFD' {
			return '·'
		}
		return r
	}, string(b))
	if cut {
		s += "…"
	}
	return s
}

func lineBlank(b []byte) bool {
	for _, c := range b {
		switch c {
		case '\n':
			return true
		case ' ', '\t', '\r':
		default:
			return false
		}
	}
	return true
}
