package proving_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf16"

	"cornerwright/internal/demo"
)

// sheet is a recording as cells: heads with their units apart, and rows.
type sheet struct {
	heads, units []string
	rows         [][]string
}

// cells takes a run's own text apart.
func cells(run *demo.Run) *sheet {
	var b bytes.Buffer
	if err := run.WriteText(&b, demo.Dialect{Delimiter: ",", UnitRow: true}); err != nil {
		panic(err)
	}
	var s sheet
	for i, l := range strings.Split(strings.TrimSpace(b.String()), "\n") {
		r := strings.Split(l, ",")
		switch i {
		case 0:
			s.heads = r
		case 1:
			s.units = r
		default:
			s.rows = append(s.rows, r)
		}
	}
	return &s
}

func (s *sheet) clone() *sheet {
	out := &sheet{append([]string(nil), s.heads...), append([]string(nil), s.units...), make([][]string, len(s.rows))}
	for i, r := range s.rows {
		out.rows[i] = append([]string(nil), r...)
	}
	return out
}

func (s *sheet) col(head string) int {
	for i, h := range s.heads {
		if h == head {
			return i
		}
	}
	panic("no column " + head)
}

// change rewrites the cells of a column that hold a number.
func (s *sheet) change(head string, f func(v float64) string) {
	c := s.col(head)
	for _, r := range s.rows {
		if v, err := strconv.ParseFloat(r[c], 64); err == nil {
			r[c] = f(v)
		}
	}
}

func (s *sheet) put(head, unit string, f func(i int, r []string) string) {
	s.heads, s.units = append(s.heads, head), append(s.units, unit)
	for i, r := range s.rows {
		s.rows[i] = append(r, f(i, r))
	}
}

// named are the heads with the units in brackets.
func (s *sheet) named() []string {
	out := append([]string(nil), s.heads...)
	for i, u := range s.units {
		if u != "" {
			out[i] += " [" + u + "]"
		}
	}
	return out
}

// lines joins the sheet with a delimiter.
func (s *sheet) lines(delimiter string, heads ...[]string) []string {
	if heads == nil {
		heads = [][]string{s.named()}
	}
	var out []string
	for _, h := range heads {
		out = append(out, strings.Join(h, delimiter))
	}
	for _, r := range s.rows {
		out = append(out, strings.Join(r, delimiter))
	}
	return out
}

func joined(lines []string) []byte { return []byte(strings.Join(lines, "\n") + "\n") }

func wide(text []byte, order binary.AppendByteOrder, mark bool) []byte {
	var out []byte
	if mark {
		out = order.AppendUint16(out, 0xfeff)
	}
	for _, u := range utf16.Encode([]rune(string(text))) {
		out = order.AppendUint16(out, u)
	}
	return out
}

func clock(v float64) string {
	return fmt.Sprintf("%d:%02d:%06.3f", 14+int(v)/3600, int(v)/60%60, math.Mod(v, 60))
}

func minutes(v float64) string {
	a := math.Abs(v)
	return fmt.Sprintf("%.7f", math.Copysign(100*math.Floor(a)+60*(a-math.Floor(a)), v))
}
