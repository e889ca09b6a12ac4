package book

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math"
	"sort"
	"strconv"
	"strings"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// Export writes a run's channels to w as "parquet" (the column file) or "csv":
// one row for each instant of any channel, the canonical name and the unit in
// the head, a blank where a channel has no sample.
func (b *Book) Export(ctx context.Context, run int, format string, w io.Writer) error {
	switch format {
	case "parquet":
		rec, err := b.Recording(ctx, run)
		if err != nil {
			return err
		}
		return exportParquet(w, rec)
	case "csv":
		rec, err := b.Recording(ctx, run)
		if err != nil {
			return err
		}
		return writeCSV(w, rec)
	}
	return invalid(say.T("{format} is not a format to export to", fmt.Sprintf("%q", format)), say.T("use a name that ends in .parquet or .csv"))
}

func writeCSV(w io.Writer, rec *recording.Recording) error {
	out := bufio.NewWriterSize(w, 1<<16)
	seen := map[float64]bool{}
	var ticks []float64
	clocks := map[*float64]bool{}
	for _, c := range rec.Channels {
		if len(c.Time) == 0 || clocks[&c.Time[0]] {
			continue
		}
		clocks[&c.Time[0]] = true
		for _, t := range c.Time {
			if !seen[t] {
				seen[t] = true
				ticks = append(ticks, t)
			}
		}
	}
	sort.Float64s(ticks)
	head := []string{"time [s]"}
	for _, c := range rec.Channels {
		name := c.Name
		if u := exportUnit(c); u.name != "" {
			name += " [" + u.name + "]"
		}
		if strings.ContainsAny(name, ",\"\n") {
			name = `"` + strings.ReplaceAll(name, `"`, `""`) + `"`
		}
		head = append(head, name)
	}
	fmt.Fprintln(out, strings.Join(head, ","))
	next := make([]int, len(rec.Channels))
	line := make([]byte, 0, 512)
	for _, t := range ticks {
		line = strconv.AppendFloat(line[:0], t, 'f', -1, 64)
		for i, c := range rec.Channels {
			line = append(line, ',')
			if j := next[i]; j < len(c.Time) && c.Time[j] == t {
				u := exportUnit(c)
				v := c.Value[j] * u.factor
				if u.round > 0 {
					v = math.Round(v*u.round) / u.round
				}
				line = strconv.AppendFloat(line, v, 'g', -1, 64)
				next[i]++
			}
		}
		out.Write(append(line, '\n'))
	}
	return out.Flush()
}

type unitOut struct {
	name          string
	factor, round float64
}

// exportUnit turns angles and engine speed into what people read; everything
// else stays in its SI unit. Ten digits after the point of a degree are a
// hundredth of a millimetre.
func exportUnit(c *recording.Channel) unitOut {
	switch {
	case c.Name == recording.RPM && c.Known:
		return unitOut{"1/min", 30 / math.Pi, 1e6}
	case c.Unit == "rad":
		return unitOut{"deg", 180 / math.Pi, 1e10}
	case c.Unit == "rad/s":
		return unitOut{"deg/s", 180 / math.Pi, 1e8}
	}
	return unitOut{c.Unit, 1, 0}
}
