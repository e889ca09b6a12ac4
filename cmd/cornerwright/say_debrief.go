package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/debrief"
	"cornerwright/internal/paper"
	"cornerwright/internal/say"
	"cornerwright/internal/unit"
)

func remarkWords(m debrief.Remark, c *circuit.Circuit) string {
	s := debrief.TurnWords(m.Turns, c.Turns)
	if m.Phase != "" {
		s += ", " + string(m.Phase)
	}
	s += ": " + string(m.Says)
	if m.Words != "" {
		s += fmt.Sprintf(" (%q)", m.Words)
	}
	return s
}

func (a *app) sayDebrief(r book.Run, c *circuit.Circuit, res *debrief.Result, rs []book.Remark) {
	a.say("debrief of run %d: %s, %s, %d timed laps", r.Number, r.Circuit, r.Bike, res.Laps)
	byID := map[int]book.Remark{}
	for _, m := range rs {
		byID[m.ID] = m
	}
	for _, f := range res.Findings {
		m := byID[f.Remark]
		a.say("")
		a.say("remark %d: %s", f.Remark, remarkWords(m.Remark, c))
		a.sayFinding(f)
	}
	if len(res.Findings) == 0 {
		a.say("no remark is recorded: cornerwright remark %d --turn N --says COMPLAINT \"own words\"", r.Number)
	}
	if len(res.Unasked) == 0 {
		a.say("\nnothing stands out that nobody mentioned")
	} else {
		a.say("\nnobody mentioned:")
		for _, f := range res.Unasked {
			a.say("")
			a.sayFinding(f)
		}
	}
	if res.Next != "" {
		a.say("\ntake first: %s, %s", res.Next, res.Why)
	}
	for _, n := range res.Notes {
		a.say("note: %s", n)
	}
	// Each caution once, though every proposal carries its own.
	told := map[say.Text]bool{}
	for _, f := range slices.Concat(res.Findings, res.Unasked) {
		for _, p := range f.Proposals {
			for _, c := range p.Cautions {
				if !told[c] {
					told[c] = true
					a.say("%s", wrap("caution: "+c.String(), 96, ""))
				}
			}
		}
	}
}

func (a *app) sayFinding(f debrief.Finding) {
	head := f.ID
	if f.Stance != "" {
		head += ": the data say: " + string(f.Stance)
	} else if f.Turn > 0 {
		head += fmt.Sprintf(": turn %d", f.Turn)
	}
	if f.Laps != "" {
		head += " (" + f.Laps.String() + " laps)"
	} else if f.Of > 0 {
		head += fmt.Sprintf(" (%d of %d laps)", f.Seen, f.Of)
	}
	a.say("  %s", head)
	a.say("%s", wrap(f.Text.String(), 96, "    "))
	for _, m := range f.Measures {
		label := m.Label.String()
		if label == "" {
			label = m.Name
		}
		n := unit.Places(m.Unit)
		line := fmt.Sprintf("%s: %s %s", label, dec(m.Value, n), unit.Shown(m.Unit))
		if m.Lo != m.Hi {
			line += fmt.Sprintf(" (%s to %s)", dec(m.Lo, n), dec(m.Hi, n))
		}
		if m.N > 0 {
			line += fmt.Sprintf(", %d laps", m.N)
		}
		a.say("    %s", line)
	}
	for i, p := range f.Proposals {
		if i == 3 {
			a.say("    and %d more", len(f.Proposals)-3)
			break
		}
		a.say("    -> %s", p.Title)
		if p.Why != "" {
			a.say("%s", wrap(p.Why.String(), 92, "       "))
		}
		if p.NeedsSay {
			a.say("       only with the engineer's say: the data do not carry it")
		}
	}
	if f.Change.String() != "" {
		a.say("%s", wrap("would change the mind: "+f.Change.String(), 96, "    "))
	}
}

func (a *app) debriefPaper(ctx context.Context, b *book.Book, r book.Run, path, sizeName string) error {
	size, err := paper.SizeNamed(sizeName)
	if err != nil {
		return usage(err.Error(), "--size A4 or --size Letter")
	}
	s, err := paper.OfRun(ctx, b, r)
	if err != nil {
		return err
	}
	return writePaper(path, func() ([]byte, error) { return s.HTML("") }, func() ([]byte, error) { return s.PDF(size) })
}

// writePaper writes a sheet as PDF or HTML, by the name of the file.
func writePaper(path string, html, pdf func() ([]byte, error)) error {
	var data []byte
	var err error
	switch {
	case strings.HasSuffix(path, ".pdf"):
		data, err = pdf()
	case strings.HasSuffix(path, ".html"):
		data, err = html()
	default:
		return usage(fmt.Sprintf("%q is no kind of paper", path), "use a name that ends in .pdf or .html")
	}
	if err != nil {
		return err
	}
	return writeNew(path, func(w io.Writer) error { _, err := w.Write(data); return err })
}
