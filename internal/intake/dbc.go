package intake

import (
	"encoding/binary"
	"math"
	"strings"

	"go.einride.tech/can/pkg/dbc"

	"cornerwright/internal/intake/table"
	"cornerwright/internal/say"
)

// busSignal is one signal of a CAN message. Its raw bits are decoded here and not
// by the database library, which clamps values to the stated range, so that a
// sensor fault would vanish.
type busSignal struct {
	name        string
	start, size int
	motorola    bool
	signed      bool
	float       bool
	factor, off float64
	unit        string
	multiplexed bool
	muxValue    uint64
	words       map[float64]string
}

type message struct {
	name    string
	id      uint64
	signals []*busSignal
	mux     *busSignal
}

type database struct {
	messages map[uint64]*message
	order    []*message
}

// parseDBC reads a signal database. Its errors carry line and column.
func parseDBC(name string, text []byte) (db *database, err error) {
	defer func() { // the library panics on some broken input
		if p := recover(); p != nil {
			db, err = nil, &Error{File: name, Text: say.T("the signal database cannot be read"), Mend: say.T("give a valid DBC file")}
		}
	}()
	if len(text) > 64<<20 {
		return nil, &Error{File: name, Text: say.T("the signal database is larger than 64 MB"), Mend: say.T("give a DBC file")}
	}
	p := dbc.NewParser(name, text)
	if e := p.Parse(); e != nil {
		pos := e.Position()
		var src string
		if lines := strings.Split(string(text), "\n"); pos.Line >= 1 && pos.Line <= len(lines) {
			src = table.Shorten([]byte(lines[pos.Line-1]))
		}
		return nil, &Error{File: name, Line: pos.Line, Column: pos.Column, Text: say.T("signal database: {why}", e.Reason()), Mend: say.T("mend that line of the DBC file"), Source: src}
	}
	db = &database{messages: map[uint64]*message{}}
	find := func(id dbc.MessageID, sig dbc.Identifier) *busSignal {
		if m := db.messages[dbcKey(id)]; m != nil {
			for _, s := range m.signals {
				if s.name == string(sig) {
					return s
				}
			}
		}
		return nil
	}
	for _, d := range p.Defs() {
		switch d := d.(type) {
		case *dbc.MessageDef:
			if d.Name == "VECTOR__INDEPENDENT_SIG_MSG" {
				continue
			}
			m := &message{name: string(d.Name), id: dbcKey(d.MessageID)}
			for i := range d.Signals {
				sd := &d.Signals[i]
				if sd.Size == 0 || sd.Size > 64 || sd.StartBit > 511 {
					return nil, &Error{File: name, Line: sd.Pos.Line, Column: sd.Pos.Column, Text: say.T("signal {name} has no valid place in its message", string(sd.Name)), Mend: say.T("give 1 to 64 bits within the frame")}
				}
				s := &busSignal{name: string(sd.Name), start: int(sd.StartBit), size: int(sd.Size), motorola: sd.IsBigEndian, signed: sd.IsSigned,
					factor: sd.Factor, off: sd.Offset, unit: sd.Unit, multiplexed: sd.IsMultiplexed, muxValue: sd.MultiplexerSwitch}
				if s.factor == 0 {
					s.factor = 1
				}
				if sd.IsMultiplexerSwitch {
					m.mux = s
				}
				m.signals = append(m.signals, s)
			}
			db.messages[m.id] = m
			db.order = append(db.order, m)
		case *dbc.SignalValueTypeDef:
			if s := find(d.MessageID, d.SignalName); s != nil && (d.SignalValueType == dbc.SignalValueTypeFloat32 && s.size == 32 || d.SignalValueType == dbc.SignalValueTypeFloat64 && s.size == 64) {
				s.float = true
			}
		case *dbc.ValueDescriptionsDef:
			if s := find(d.MessageID, d.SignalName); s != nil {
				s.words = map[float64]string{}
				for _, v := range d.ValueDescriptions {
					s.words[v.Value] = v.Description
				}
			}
		}
	}
	if len(db.order) == 0 {
		return nil, &Error{File: name, Line: 1, Text: say.T("the signal database holds no message"), Mend: say.T("give a DBC file with BO_ and SG_ lines")}
	}
	return db, nil
}

func dbcKey(id dbc.MessageID) uint64 {
	k := uint64(id.ToCAN())
	if id.IsExtended() {
		k |= 1 << 32
	}
	return k
}

// raw returns the signal's bits; false if the data are too short.
//
// Bit b is bit b%8 (0 the least) of byte b/8. Intel: start is the least
// significant bit, counting upward. Motorola: start is the most significant
// bit, counting downward, from bit 0 to bit 7 of the next byte.
func (s *busSignal) raw(data []byte) (uint64, bool) {
	if !s.motorola {
		if s.start+s.size > 8*len(data) {
			return 0, false
		}
		if s.start+s.size <= 64 {
			var w [8]byte
			copy(w[:], data)
			x := binary.LittleEndian.Uint64(w[:]) >> s.start
			if s.size < 64 {
				x &= 1<<s.size - 1
			}
			return x, true
		}
		var x uint64
		for i := range s.size {
			b := s.start + i
			x |= uint64(data[b>>3]>>(b&7)&1) << i
		}
		return x, true
	}
	var x uint64
	b := s.start
	for range s.size {
		if b>>3 >= len(data) {
			return 0, false
		}
		x = x<<1 | uint64(data[b>>3]>>(b&7)&1)
		if b&7 == 0 {
			b += 15
		} else {
			b--
		}
	}
	return x, true
}

// value returns the physical value, raw*factor + offset.
func (s *busSignal) value(data []byte) (float64, bool) {
	x, ok := s.raw(data)
	if !ok {
		return 0, false
	}
	var v float64
	switch {
	case s.float && s.size == 32:
		v = float64(math.Float32frombits(uint32(x)))
	case s.float:
		v = math.Float64frombits(x)
	case s.signed:
		v = float64(int64(x<<(64-s.size)) >> (64 - s.size))
	default:
		v = float64(x)
	}
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, false
	}
	return v*s.factor + s.off + 0, true
}

// labelled makes a label column of a signal whose values all have words that
// mean something to the channel: slot and gear.
func (c *column) labelled(s *busSignal) {
	if len(s.words) == 0 || s.factor != 1 || s.off != 0 {
		return
	}
	senses, _ := match(c.Header)
	if len(senses) == 0 || senses[0].channel != "slot" && senses[0].channel != "gear" {
		return
	}
	top := 0.0
	for v := range s.words {
		if v < 0 || v > 255 || v != math.Trunc(v) {
			return
		}
		top = math.Max(top, v)
	}
	for _, v := range c.values {
		if _, ok := s.words[v]; !ok {
			return
		}
	}
	c.labels = make([]string, int(top)+1)
	for v, w := range s.words {
		c.labels[int(v)] = w
	}
	c.Kind = table.Label
}
