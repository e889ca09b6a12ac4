package demo

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Dialect is a way of writing a text recording.
type Dialect struct {
	Delimiter string // "," ";" or "\t"
	Comma     bool   // decimal comma
	UnitRow   bool   // units on a row of their own; otherwise in brackets behind the name
	Preamble  []string
	CRLF      bool
	Repeat    bool    // slow channels repeat their last value instead of leaving blanks
	CutOff    bool    // the last row ends in the middle
	Jump      bool    // the clock steps back once in the middle
	Words     Wording // other names and units; nil keeps the simulator's
	Clock     string  // time column: "" seconds, "ms" milliseconds
}

// Plain is comma, brackets, blanks.
var Plain = Dialect{Delimiter: ","}

// WriteText writes the run as a logger would: one row for each instant of the
// fastest clock, slow channels only where they have a sample.
func (r *Run) WriteText(w io.Writer, d Dialect) error {
	out := bufio.NewWriterSize(w, 1<<18)
	end := "\n"
	if d.CRLF {
		end = "\r\n"
	}
	for _, l := range d.Preamble {
		out.WriteString(l + end)
	}
	unitName := "s"
	if d.Clock == "ms" {
		unitName = "ms"
	}
	head := []string{"Time"}
	units := []string{unitName}
	channels := make([]Channel, len(r.Channels))
	for i, c := range r.Channels {
		channels[i] = c.in(d.Words)
	}
	for _, c := range channels {
		head = append(head, c.Header)
		units = append(units, c.Unit)
	}
	if d.UnitRow {
		out.WriteString(strings.Join(head, d.Delimiter) + end + strings.Join(units, d.Delimiter) + end)
	} else {
		for i := range head {
			if units[i] != "" {
				head[i] += " [" + units[i] + "]"
			}
		}
		out.WriteString(strings.Join(head, d.Delimiter) + end)
	}
	ticks := r.instants()
	next := make([]int, len(channels))
	line := make([]byte, 0, 512)
	point := byte('.')
	if d.Comma {
		point = ','
	}
	number := func(v float64, dec int) {
		line = appendFixed(line, v, dec, point)
	}
	for n, k := range ticks {
		line = line[:0]
		t := float64(k) / 1000
		if d.Jump && n > len(ticks)/2 {
			t -= 0.5
		}
		if d.Clock == "ms" {
			number(t*1000, 0)
		} else {
			number(t, 3)
		}
		for i := range channels {
			c := &channels[i]
			line = append(line, d.Delimiter...)
			j := next[i]
			if j < len(c.Time) && c.Time[j]*1000 < float64(k)+0.5 {
				number(c.Value[j], c.Decimals)
				next[i]++
			} else if d.Repeat && j > 0 && t-c.Time[j-1] < 1.5 {
				number(c.Value[j-1], c.Decimals)
			}
		}
		if d.CutOff && n == len(ticks)-1 {
			line = line[:len(line)/2]
			out.Write(line)
			break
		}
		out.Write(line)
		out.WriteString(end)
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("writing the recording: %w", err)
	}
	return nil
}

// instants gives every instant of every clock, in milliseconds.
func (r *Run) instants() []int64 {
	var out []int64
	var last *float64
	for _, c := range r.Channels {
		if len(c.Time) == 0 || &c.Time[0] == last {
			continue
		}
		last = &c.Time[0]
		for _, t := range c.Time {
			out = append(out, int64(math.Round(t*1000)))
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// appendFixed writes v with a fixed number of decimals, NaN as that word.
func appendFixed(b []byte, v float64, decimals int, point byte) []byte {
	if math.IsNaN(v) {
		return append(b, "NaN"...)
	}
	n := int64(math.Round(v * tens[decimals]))
	if n < 0 {
		b = append(b, '-')
		n = -n
	}
	whole := int64(tens[decimals])
	b = strconv.AppendInt(b, n/whole, 10)
	if decimals == 0 {
		return b
	}
	b = append(b, point)
	rest := n % whole
	for w := whole / 10; w > 0; w /= 10 {
		b = append(b, byte('0'+rest/w%10))
	}
	return b
}
