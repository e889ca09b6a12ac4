package web

import (
	"fmt"
	"html/template"
	"math"
	"net/http"
	"strconv"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/draw"
	"cornerwright/internal/say"
)

type circuitPage struct {
	Record  book.CircuitRecord
	Circuit *circuit.Circuit
	Map     template.HTML
	Points  string // "s x y;...": places on the map, for a finger
	Gate    gatePlace
	Edits   []say.Text // what was done by hand, in order
	Runs    []book.Run
	Trouble say.Text
	Mend    say.Text
	Typed   map[string]string // what could not be taken
}

type gatePlace struct{ Lat, Lon, Heading string }

const circuitMapWidth, circuitMapHeight = 170.0, 110.0

func (s *server) circuit(r *http.Request) (page, error) {
	c, err := s.book.Circuit(r.PathValue("circuit"))
	if err != nil {
		return page{}, err
	}
	d := circuitPage{Circuit: c, Typed: map[string]string{}}
	list, err := s.book.Circuits()
	if err != nil {
		return page{}, err
	}
	for _, k := range list {
		if k.Name == c.Name {
			d.Record = k
		}
	}
	e, err := s.book.CircuitEdits(c.Name)
	if err != nil {
		return page{}, err
	}
	d.Edits = e.List()
	if d.Runs, err = s.book.Runs(book.RunFilter{Circuit: c.Name}); err != nil {
		return page{}, err
	}
	m := draw.NewSVG(circuitMapWidth, circuitMapHeight)
	draw.Map(m, c, draw.MapOptions{Width: circuitMapWidth, Height: circuitMapHeight, TurnHref: func(t int) string { return fmt.Sprintf("#turn-%d", t) }})
	d.Map = m.HTML("map", say.T("Map of {name}", c.Name), say.T("{turns} turns, {length} m", len(c.Turns), draw.Number(c.Line.Length, 0)))
	if p, ok := draw.Project(c, circuitMapWidth, circuitMapHeight); ok {
		var b strings.Builder
		const n = 400
		for i := range n {
			at := c.Line.Length * float64(i) / n
			q, _ := p.At(at)
			fmt.Fprintf(&b, "%.0f %.1f %.1f;", at, q.X, q.Y)
		}
		d.Points = b.String()
	}
	lat, lon, heading := c.Gate()
	d.Gate = gatePlace{fmt.Sprintf("%.7f", lat*180/math.Pi), fmt.Sprintf("%.7f", lon*180/math.Pi), fmt.Sprintf("%.2f", heading*180/math.Pi)}
	return page{Title: say.Plain(c.Name), Name: "circuit", Body: d}, nil
}

// editCircuit does one thing to a circuit by hand, or saves names and kinks of
// all its turns; what is done stands in the list and can be taken back.
func (s *server) editCircuit(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	name := r.PathValue("circuit")
	c, err := s.book.Circuit(name)
	if err != nil {
		return "", nil, err
	}
	e, err := s.book.CircuitEdits(name)
	if err != nil {
		return "", nil, err
	}
	// The version that the person saw: somebody else may have edited since.
	bad, mend := say.Text(""), say.T("correct the field and save again")
	if field(r, "do") == "name" {
		// Its name has nothing to do with a version of its line.
		k, err := s.book.RenameCircuit(name, field(r, "to"))
		if err == nil {
			return "/circuit/" + pathEscape(k.Name), nil, nil
		}
		var ok bool
		if bad, mend, ok = trouble(err); !ok {
			return "", nil, err
		}
	} else if v, err := strconv.Atoi(field(r, "version")); err != nil || v != c.Version {
		bad, mend = say.T("somebody changed this circuit meanwhile: it is at version {version}, this was made on version {r}", c.Version, field(r, "version")), say.T("look at the turns below, they are the new ones, and do it again; nothing was changed")
	} else if e, err = circuitEdit(r, c, e); err != nil {
		bad = say.Of(err)
	} else if e != nil {
		if e.Name == "" {
			e.Name = name
		}
		if _, err = s.book.AddCircuit(name+".toml", e.TOML()); err == nil {
			return "/circuit/" + pathEscape(name), nil, nil
		}
		var ok bool
		if bad, mend, ok = trouble(err); !ok {
			return "", nil, err
		}
	} else {
		return "/circuit/" + pathEscape(name), nil, nil
	}
	p, err := s.circuit(r)
	if err != nil {
		return "", nil, err
	}
	d := p.Body.(circuitPage)
	d.Trouble, d.Mend = bad, mend
	for k, v := range r.PostForm {
		if len(v) > 0 {
			d.Typed[k] = v[0]
		}
	}
	p.Body = d
	return "", &p, nil
}

// circuitEdit carries out what a form asks for; nil edits: nothing was asked.
func circuitEdit(r *http.Request, c *circuit.Circuit, e *circuit.Edits) (*circuit.Edits, error) {
	whole := func(key string) (int, error) {
		n, err := strconv.Atoi(field(r, key))
		if err != nil {
			return 0, say.Error("{value} is no turn number", strconv.Quote(field(r, key)))
		}
		return n, nil
	}
	metres := func(key string) (float64, error) {
		v, err := strconv.ParseFloat(strings.ReplaceAll(field(r, key), ",", "."), 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return 0, say.Error("{value} is no place in metres", strconv.Quote(field(r, key)))
		}
		return v, nil
	}
	var err error
	switch field(r, "do") {
	case "merge":
		var a, b int
		if a, err = whole("first"); err == nil {
			if b, err = whole("last"); err == nil {
				_, e, err = c.Merge(e, a, b)
			}
		}
	case "split":
		var n int
		var at float64
		if at, err = metres("at"); err == nil {
			if n = c.TurnAt(at); n == 0 {
				err = say.Error("there is no turn at {at} m", draw.Number(at, 0))
			} else {
				_, e, err = c.Split(e, n, at)
			}
		}
	case "renumber":
		var n, to int
		if n, err = whole("number"); err == nil {
			if to, err = whole("to"); err == nil {
				_, e, err = c.Renumber(e, n, to, field(r, "following") == "yes")
			}
		}
	case "drop":
		var n int
		if n, err = whole("number"); err == nil {
			_, e, err = c.Drop(e, n)
		}
	case "gate":
		var at float64
		if at, err = metres("at"); err == nil {
			_, e, err = c.MoveGate(e, at)
		}
	case "back":
		var i int
		if i, err = whole("edit"); err == nil {
			e = e.Without(i)
		}
	default:
		changed := false
		for i, t := range c.Turns {
			key := strconv.Itoa(i)
			if name := field(r, "name-"+key); name != t.Name {
				if name == "" {
					return nil, say.Error("the name of turn {turn} is empty: take the edit that named it back instead", t.Number)
				}
				if c, e, err = c.Rename(e, t.Number, name); err != nil {
					return nil, err
				}
				changed = true
			}
			if kink := field(r, "kink-"+key) == "yes"; kink != t.Kink {
				if c, e, err = c.MarkKink(e, t.Number, kink); err != nil {
					return nil, err
				}
				changed = true
			}
		}
		if !changed {
			return nil, nil
		}
	}
	if err != nil {
		return nil, err
	}
	return e, nil
}
