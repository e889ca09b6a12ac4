package bike

import (
	"errors"
	"math"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"cornerwright/internal/say"
)

// place is where something stands in the file, counted from 1.
type place struct{ line, column int }

// node is a value of the file with its place: a table, a list, a list of
// tables, a text, a number or something the bike file has no use for.
type node struct {
	place
	key   place // where its key stands
	kind  kind
	text  string
	num   float64
	items []*node // list, tables
	names []string
	keys  map[string]*node // table
}

type kind int

const (
	isTable kind = iota
	isTables
	isList
	isText
	isNumber
	isOther
)

func (k kind) String() string {
	return [...]string{"a table", "a list of tables", "a list", "a text", "a number", "something else"}[k]
}

func newTable(at place) *node {
	return &node{place: at, key: at, kind: isTable, keys: map[string]*node{}}
}

func (n *node) set(name string, v *node) {
	if _, ok := n.keys[name]; !ok {
		n.names = append(n.names, name)
	}
	n.keys[name] = v
}

// document reads TOML into nodes. The library's own decoder first tells whether
// the file is valid at all (doubled keys and tables among it); the second pass
// keeps the place of every key and value, which the decoder throws away.
func document(file string, src []byte) (*node, error) {
	var any map[string]any
	if err := toml.Unmarshal(src, &any); err != nil {
		e := &Error{File: file, Line: 1, Column: 1, Text: say.Of(err), Mend: say.T(`a table is written [mass], one of several [[setting]], a value key = 1.5, key = "text" or key = [1, 2]; docs/bike-file.md shows a whole file`)}
		var d *toml.DecodeError
		if errors.As(err, &d) {
			e.Line, e.Column = d.Position()
			e.Text = say.Plain(strings.TrimPrefix(d.Error(), "toml: "))
		}
		return nil, e
	}
	p := &unstable.Parser{}
	p.Reset(src)
	root := newTable(place{1, 1})
	here := root
	for p.NextExpression() {
		x := p.Expression()
		switch x.Kind {
		case unstable.Table, unstable.ArrayTable:
			here = root
			it := x.Key()
			for it.Next() {
				k := it.Node()
				at := where(p, k)
				last := it.IsLast()
				name := string(k.Data)
				next := here.keys[name]
				switch {
				case last && x.Kind == unstable.ArrayTable:
					t := newTable(at)
					if next == nil {
						next = &node{place: at, key: at, kind: isTables}
						here.set(name, next)
					}
					next.items = append(next.items, t)
					here = t
					continue
				case next == nil:
					next = newTable(at)
					here.set(name, next)
				}
				if next.kind == isTables {
					next = next.items[len(next.items)-1]
				}
				here = next
			}
		case unstable.KeyValue:
			keyValue(p, here, x)
		}
	}
	if err := p.Error(); err != nil {
		return nil, &Error{File: file, Line: 1, Column: 1, Text: say.Of(err)}
	}
	return root, nil
}

func where(p *unstable.Parser, n *unstable.Node) place {
	s := p.Shape(n.Raw).Start
	return place{s.Line, s.Column}
}

func keyValue(p *unstable.Parser, into *node, x *unstable.Node) {
	it := x.Key()
	for it.Next() {
		k := it.Node()
		name, at := string(k.Data), where(p, k)
		if !it.IsLast() {
			next := into.keys[name]
			if next == nil {
				next = newTable(at)
				into.set(name, next)
			}
			into = next
			continue
		}
		v := value(p, x.Value(), at)
		v.key = at
		into.set(name, v)
	}
}

func value(p *unstable.Parser, x *unstable.Node, near place) *node {
	n := &node{place: near, key: near, kind: isOther}
	if x.Raw.Length > 0 {
		n.place = where(p, x)
	}
	switch x.Kind {
	case unstable.String:
		n.kind, n.text = isText, string(x.Data)
	case unstable.Integer, unstable.Float:
		raw := strings.ReplaceAll(string(x.Data), "_", "")
		n.kind, n.text = isNumber, string(x.Data)
		if x.Kind == unstable.Integer {
			i, err := strconv.ParseInt(strings.TrimPrefix(raw, "+"), 0, 64)
			n.num = float64(i)
			if err != nil {
				n.num = math.NaN()
			}
		} else {
			f, err := strconv.ParseFloat(raw, 64)
			n.num = f
			if err != nil {
				n.num = math.NaN()
			}
		}
	case unstable.Array:
		n.kind = isList
		it := x.Children()
		for it.Next() {
			if c := it.Node(); c.Kind != unstable.Comment {
				n.items = append(n.items, value(p, c, near))
			}
		}
		if len(n.items) > 0 {
			n.place = n.items[0].place
		}
	case unstable.InlineTable:
		n.kind, n.keys = isTable, map[string]*node{}
		it := x.Children()
		for it.Next() {
			if c := it.Node(); c.Kind == unstable.KeyValue {
				keyValue(p, n, c)
			}
		}
	default:
		n.text = string(x.Data)
	}
	return n
}

func (n *node) describe() say.Text {
	switch n.kind {
	case isText:
		return say.T("the text {text}", strconv.Quote(n.text))
	case isNumber:
		return say.T("the number {text}", n.text)
	case isOther:
		if n.text != "" {
			return say.Plain(n.text)
		}
	}
	return say.Key(n.kind.String())
}
