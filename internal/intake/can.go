package intake

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"fmt"
	"io"
	"sort"
	"strconv"

	"cornerwright/internal/intake/table"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// frame is one line of a CAN text log.
type frame struct {
	sec, micro int64 // time stamp, exact
	digits     int   // of the fraction
	iface      string
	id         uint32
	extended   bool
	remote     bool
	fault      bool // an error frame: no measurement
	fd         bool
	data       []byte
}

// splitCAN tells whether a line has the form "(1436509053.850870) can0 ...#...".
func splitCAN(l []byte) (rest []byte, ok bool) {
	if len(l) < 8 || l[0] != '(' {
		return nil, false
	}
	i := bytes.IndexByte(l, ')')
	if i < 2 || i > 40 {
		return nil, false
	}
	for _, c := range l[1:i] {
		if (c < '0' || c > '9') && c != '.' {
			return nil, false
		}
	}
	f := bytes.Fields(l[i+1:])
	if len(f) < 2 || bytes.IndexByte(f[1], '#') < 1 {
		return nil, false
	}
	return l[i+1:], true
}

// parseFrame reads one line as `candump -L` writes it: "(seconds) interface
// ID#DATA". Three hex digits of id are an 11-bit identifier, eight a 29-bit
// one; #R is a remote frame, ##F starts CAN FD with its flag digit; an id with
// bit 29 set is an error frame.
func parseFrame(l []byte, f *frame) say.Text {
	i := bytes.IndexByte(l, ')')
	if len(l) == 0 || l[0] != '(' || i < 2 {
		return say.T("no time stamp in brackets")
	}
	whole, frac, _ := bytes.Cut(l[1:i], []byte{'.'})
	sec, err := strconv.ParseInt(string(whole), 10, 62)
	if err != nil || len(frac) > 9 {
		return say.T("broken time stamp")
	}
	f.sec, f.micro, f.digits = sec, 0, len(frac)
	if len(frac) > 0 {
		if f.micro, err = strconv.ParseInt(string(frac), 10, 62); err != nil || f.micro < 0 {
			return say.T("broken time stamp")
		}
	}
	parts := bytes.Fields(l[i+1:])
	if len(parts) < 2 {
		return say.T("no frame")
	}
	f.iface = string(parts[0])
	id, data, ok := bytes.Cut(parts[1], []byte{'#'})
	if !ok {
		return say.T("no # between identifier and data")
	}
	if len(id) != 3 && len(id) != 8 {
		return say.T("identifier {id} has {id2} digits, 3 or 8 are right", fmt.Sprintf("%q", id), len(id))
	}
	n, err := strconv.ParseUint(string(id), 16, 32)
	if err != nil {
		return say.T("identifier {id} is not hexadecimal", fmt.Sprintf("%q", table.Shorten(id)))
	}
	f.fault = n&0x20000000 != 0 && len(id) == 8
	f.extended = len(id) == 8 && !f.fault
	f.id = uint32(n)
	if len(id) == 3 && n > 0x7ff || f.extended && n > 0x1fffffff {
		return say.T("identifier {id} is too large", id)
	}
	f.remote, f.fd = false, false
	f.data = f.data[:0]
	limit := 8
	if len(data) > 0 && (data[0] == 'R' || data[0] == 'r') {
		f.remote = true
		return ""
	}
	if len(data) > 0 && data[0] == '#' {
		if len(data) < 2 {
			return say.T("CAN FD frame without its flags")
		}
		f.fd = true
		data = data[2:]
		limit = 64
	}
	// Bytes may be parted by dots.
	if bytes.IndexByte(data, '.') >= 0 {
		data = bytes.ReplaceAll(data, []byte{'.'}, nil)
	}
	if !f.fd {
		if j := bytes.IndexByte(data, '_'); j >= 0 { // raw length code after the data
			data = data[:j]
		}
	}
	if len(data)%2 != 0 {
		return say.T("half a byte of data")
	}
	if len(data)/2 > limit {
		return say.T("{data} bytes of data, {limit} are the most", len(data)/2, limit)
	}
	f.data = f.data[:cap(f.data)]
	if len(f.data) < len(data)/2 {
		f.data = make([]byte, 64)
	}
	m, err := hex.Decode(f.data, data)
	f.data = f.data[:m]
	if err != nil {
		f.data = f.data[:0]
		return say.T("data are not hexadecimal")
	}
	return ""
}

// key tells identifiers apart: 123 is not 00000123.
func (f *frame) key() uint64 {
	k := uint64(f.id)
	if f.extended {
		k |= 1 << 32
	}
	return k
}

func readCAN(name string, r io.Reader, size int64, opts Options) ([]*source, error) {
	if len(opts.Database) == 0 {
		return nil, &Error{File: name, Line: 1, Text: say.T("a CAN log needs its signal database to be read"), Mend: say.T("give the DBC file of the bike's bus too: --database FILE.dbc, or both files in one zip"), Source: ""}
	}
	db, err := parseDBC("signal database", opts.Database)
	if err != nil {
		return nil, err
	}
	s := &source{name: name, format: "CAN log", epochUnix: nan}
	sc := bufio.NewScanner(r)
	sc.Buffer(make([]byte, 64<<10), 1<<20)
	clock := newColumn("time", "s", timeChannel, nil, 0)
	s.clock = clock
	s.cols = []*column{clock}
	cols := map[*busSignal]*column{}
	unknown := map[string]int{}
	var line, bad, remote, faults, short int
	var lines []table.Break
	var read, base int64
	var f frame
	last := -1.0
	expect := -1
	for sc.Scan() {
		line++
		b := bytes.TrimSpace(sc.Bytes())
		read += int64(len(sc.Bytes())) + 1
		if opts.Progress != nil && line%50000 == 0 {
			opts.Progress(Progress{Bytes: read, Total: size, Rows: s.rows})
		}
		if len(b) == 0 || b[0] == '#' {
			continue
		}
		if why := parseFrame(b, &f); why != "" {
			if bad++; bad <= 20 {
				s.problem(recording.Warning, line, 1, "", say.T("frame left out: {why}: {b}", why, table.Shorten(b)), say.T("nothing to do: the others are kept"))
			}
			s.lostRows++
			s.lostBytes += int64(len(b)) + 1
			continue
		}
		switch {
		case f.fault:
			faults++
			continue
		case f.remote:
			remote++
			continue
		}
		msg := db.messages[f.key()]
		if msg == nil {
			k := fmt.Sprintf("%03X", f.id)
			if f.extended {
				k = fmt.Sprintf("%08X", f.id)
			}
			if len(unknown) < 10000 || unknown[k] > 0 {
				unknown[k]++
			}
			continue
		}
		if s.rows == 0 {
			base = f.sec
		}
		t := float64(f.sec-base) + float64(f.micro)/pow10(f.digits)
		// Frames of two buses may share a stamp or come in the wrong order by
		// less than the bus takes for one: keep their order.
		if t <= last && last-t < 1e-3 {
			t = last + 1e-7
		}
		last = t
		if line != expect {
			lines = append(lines, table.Break{Row: s.rows, Line: line})
		}
		expect = line + 1
		row := int32(s.rows)
		s.rows++
		clock.values = append(clock.values, t)
		mux, muxOK := uint64(0), false
		if msg.mux != nil {
			mux, muxOK = msg.mux.raw(f.data)
		}
		for _, sig := range msg.signals {
			if sig.multiplexed && (!muxOK || mux != sig.muxValue) {
				continue
			}
			v, ok := sig.value(f.data)
			if !ok {
				short++
				continue
			}
			c := cols[sig]
			if c == nil {
				c = &column{decimals: -1, at: []int32{}}
				c.Column = table.Column{Header: sig.name, Cell: msg.name + "." + sig.name, Unit: sig.unit, Kind: table.Number}
				c.plain = sig == msg.mux
				cols[sig] = c
			}
			c.at = append(c.at, row)
			c.values = append(c.values, v)
		}
	}
	if err := sc.Err(); err != nil {
		s.problem(recording.Fault, line, 0, "", say.T("the log breaks off: {why}", err), say.T("what came before is kept"))
	}
	if bad > 20 {
		s.problem(recording.Warning, 0, 0, "", say.T("{bad} frames left out in all", bad), say.T("check how the log was written"))
	}
	if faults > 0 {
		s.problem(recording.Note, 0, 0, "", say.T("{faults} {faults|error frame|error frames} on the bus, no measurements", faults), say.T("check termination and wiring if there are many"))
	}
	if remote > 0 {
		s.problem(recording.Note, 0, 0, "", say.T("{remote} {remote|remote frame|remote frames} without data", remote), say.T("nothing to do"))
	}
	if short > 0 {
		s.problem(recording.Warning, 0, 0, "", say.T("{short} {short|signal value|signal values} left out: beyond the data of the frame, or no number", short), say.T("check the signal database against the bus"))
	}
	if len(unknown) > 0 {
		ids := make([]string, 0, len(unknown))
		n := 0
		for k, c := range unknown {
			ids = append(ids, k)
			n += c
		}
		sort.Slice(ids, func(i, j int) bool {
			if unknown[ids[i]] != unknown[ids[j]] {
				return unknown[ids[i]] > unknown[ids[j]]
			}
			return ids[i] < ids[j]
		})
		s.problem(recording.Note, 0, 0, "", say.T("{n} {n|frame|frames} of {ids} {ids|identifier|identifiers} not in the signal database: {ids2}", n, len(ids), shortList(ids)), say.T("nothing to do unless a channel is missing: then add the message to the database"))
	}
	if s.rows == 0 {
		return nil, &Error{File: name, Line: 1, Text: say.T("no frame of the log is in the signal database ({unknown} {unknown|identifier|identifiers} unknown)", len(unknown)), Mend: say.T("give the database that belongs to this bus")}
	}
	s.line = func(r int) int { return lineOf(lines, r) }
	s.epochUnix = float64(base)
	if base < 1e8 { // a clock from power-on, no date
		s.epochUnix = nan
		for i := range clock.values {
			clock.values[i] += float64(base)
		}
	}
	sigs := make([]*column, 0, len(cols))
	names := map[string]int{}
	for _, m := range db.order {
		for _, sig := range m.signals {
			if c := cols[sig]; c != nil {
				names[sig.name]++
				sigs = append(sigs, c)
				c.labelled(sig)
			}
		}
	}
	for i, c := range sigs {
		c.Index = i + 1
		if names[c.Header] > 1 { // the same signal name in two messages
			c.Header = c.Cell
		}
		s.cols = append(s.cols, c)
	}
	return []*source{s}, nil
}

func pow10(k int) float64 {
	p := 1.0
	for range k {
		p *= 10
	}
	return p
}
