package intake

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"cornerwright/internal/intake/table"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// sentence is one NMEA 0183 sentence, its fields without the address.
type sentence struct {
	talker, kind string
	f            []string
	summed       bool // a right checksum stands behind it
}

func (s sentence) at(i int) string {
	if i < len(s.f) {
		return s.f[i]
	}
	return ""
}

// looksNMEA tells whether a line holds an NMEA sentence, perhaps behind a
// logger's own time stamp.
func looksNMEA(l []byte) bool {
	i := bytes.IndexByte(l, '$')
	if i < 0 || i > 40 || len(l) < i+7 {
		return false
	}
	for _, c := range l[i+1 : i+6] {
		if (c < 'A' || c > 'Z') && (c < '0' || c > '9') {
			return false
		}
	}
	return l[i+6] == ',' && (l[i+1] == 'G' || l[i+1] == 'P' || l[i+1] == 'B' || l[i+1] == 'I' || l[i+1] == 'Q' || l[i+1] == 'L')
}

// parseSentence reads "$GPRMC,...*6A"; the checksum is the exclusive or of the
// bytes between $ and *. A sentence without checksum is taken (the standard
// lets some do without).
func parseSentence(l []byte) (s sentence, why say.Text) {
	i := bytes.IndexByte(l, '$')
	if i < 0 {
		return s, say.T("no sentence")
	}
	s, why = parseOne(l, i)
	if j := bytes.LastIndexByte(l, '$'); why != "" && j > i {
		// Bytes were lost: the end of one sentence, the start of the next.
		if t, w := parseOne(l, j); w == "" && t.summed {
			return t, ""
		}
	}
	return s, why
}

// parseOne reads the sentence that begins at i.
func parseOne(l []byte, i int) (s sentence, why say.Text) {
	l = bytes.TrimSpace(l[i+1:])
	if len(l) > 200 {
		return s, say.T("longer than any sentence")
	}
	if j := bytes.LastIndexByte(l, '*'); j >= 0 {
		want, err := strconv.ParseUint(string(bytes.TrimSpace(l[j+1:])), 16, 8)
		if err != nil {
			return s, say.T("broken checksum")
		}
		var x byte
		for _, c := range l[:j] {
			x ^= c
		}
		if x != byte(want) {
			return s, say.T("checksum is {x}, the sentence says {want}", fmt.Sprintf("%02X", x), fmt.Sprintf("%02X", want))
		}
		l, s.summed = l[:j], true
	}
	f := strings.Split(string(l), ",")
	if len(f[0]) < 5 {
		return s, say.T("no address")
	}
	s.talker, s.kind, s.f = f[0][:len(f[0])-3], f[0][len(f[0])-3:], f[1:]
	if f[0][0] == 'P' { // a maker's own
		s.talker, s.kind = "", f[0]
	}
	return s, ""
}

// nmeaAngle reads ddmm.mmmm with its hemisphere.
func nmeaAngle(v, hemi string) float64 {
	x, err := strconv.ParseFloat(v, 64)
	if err != nil || x < 0 || math.Mod(x, 100) >= 60 {
		return nan
	}
	dot := strings.IndexByte(v, '.')
	if dot < 0 {
		dot = len(v)
	}
	if dot < 3 {
		return nan
	}
	// Degrees and minutes are parted as text: no rounding before the division.
	deg, err1 := strconv.ParseFloat(v[:dot-2], 64)
	min, err2 := strconv.ParseFloat(v[dot-2:], 64)
	if err1 != nil || err2 != nil {
		return nan
	}
	x = deg + min/60
	if x > 180 || (hemi == "N" || hemi == "S") && x > 90 {
		return nan
	}
	switch hemi {
	case "S", "W":
		return -x
	case "N", "E":
		return x
	}
	return nan
}

// nmeaTime reads hhmmss.sss as seconds of the day.
func nmeaTime(v string) float64 {
	if len(v) < 6 {
		return nan
	}
	x, err := strconv.ParseFloat(v[4:], 64)
	h, e1 := strconv.Atoi(v[:2])
	m, e2 := strconv.Atoi(v[2:4])
	if err != nil || e1 != nil || e2 != nil || h > 23 || m > 59 || x >= 61 || x < 0 {
		return nan
	}
	return float64(h*3600+m*60) + x
}

// nmeaDate reads ddmmyy. Two-digit years from 80 on are of the last century:
// the satellites' time starts in 1980.
func nmeaDate(v string) (time.Time, bool) {
	if len(v) != 6 {
		return time.Time{}, false
	}
	d, e1 := strconv.Atoi(v[:2])
	m, e2 := strconv.Atoi(v[2:4])
	y, e3 := strconv.Atoi(v[4:])
	if e1 != nil || e2 != nil || e3 != nil {
		return time.Time{}, false
	}
	if y >= 80 {
		y += 1900
	} else {
		y += 2000
	}
	t := time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC)
	return t, t.Day() == d && int(t.Month()) == m
}

// nmea gathers the sentences of an epoch to rows.
type nmea struct {
	s     *source
	t     []float64 // seconds since the first day's midnight
	rows  [][]float64
	cur   []float64
	curT  float64
	date  time.Time
	day   float64
	last  float64
	bad   int
	other map[string]int
}

const (
	nmLat = iota
	nmLon
	nmAlt
	nmSpeed
	nmCourse
	nmSats
	nmHDOP
	nmQuality
	nmCount
)

func readNMEA(name string, r io.Reader, size int64, opts Options) ([]*source, error) {
	s := &source{name: name, format: "NMEA 0183", epochUnix: nan}
	n := &nmea{s: s, curT: nan, last: nan, other: map[string]int{}}
	sc := bufio.NewScanner(r)
	sc.Buffer(make([]byte, 64<<10), 1<<20)
	line, used, summed := 0, 0, 0
	var lines []int
	var read int64
	for sc.Scan() {
		line++
		b := sc.Bytes()
		read += int64(len(b)) + 1
		if opts.Progress != nil && line%20000 == 0 {
			opts.Progress(Progress{Bytes: read, Total: size, Rows: len(n.rows)})
		}
		if len(bytes.TrimSpace(b)) == 0 {
			continue
		}
		sen, why := parseSentence(b)
		if why == "" && sen.summed {
			summed++
		} else if why == "" && summed > 0 {
			why = say.T("it has no checksum, though those before have one: cut off")
		}
		if why != "" {
			if bytes.IndexByte(b, '$') < 0 && bytes.HasPrefix(bytes.TrimSpace(b), []byte("#")) {
				continue
			}
			if n.bad++; n.bad <= 20 {
				s.problem(recording.Warning, line, 1, "", say.T("sentence left out: {why}", why), say.T("nothing to do: the others are kept"))
			}
			s.lostRows++
			s.lostBytes += int64(len(b)) + 1
			continue
		}
		if n.take(sen) {
			used++
		}
		for len(lines) < len(n.rows) {
			lines = append(lines, line)
		}
	}
	if err := sc.Err(); err != nil {
		s.problem(recording.Fault, line, 0, "", say.T("the file breaks off: {why}", err), say.T("what came before is kept"))
	}
	n.flush()
	for len(lines) < len(n.rows) {
		lines = append(lines, line)
	}
	if n.bad > 20 {
		s.problem(recording.Warning, 0, 0, "", say.T("{bad} sentences left out in all", n.bad), say.T("check the cable between receiver and logger"))
	}
	for _, k := range slices.Sorted(maps.Keys(n.other)) {
		s.problem(recording.Note, 0, 0, "", say.T("{other} {other|sentence|sentences} of kind {k} not used", n.other[k], k), say.T("nothing to do"))
	}
	fixes := 0
	for _, row := range n.rows {
		if row[nmLat] == row[nmLat] {
			fixes++
		}
	}
	if fixes == 0 {
		return nil, &Error{File: name, Line: 1, Text: say.T("NMEA without a single position ({used} {used|sentence|sentences} read)", used), Mend: say.T("the receiver had no fix, or RMC and GGA sentences are switched off")}
	}
	s.rows = len(n.rows)
	s.line = func(r int) int {
		if r < len(lines) {
			return lines[r]
		}
		return 0
	}
	s.clock = newColumn("UTC time", "s", timeChannel, n.t, 0)
	s.cols = []*column{s.clock}
	for i, c := range []struct{ head, unit, ch string }{{"latitude", "deg", recording.Latitude}, {"longitude", "deg", recording.Longitude}, {"altitude", "m", recording.Altitude}, {"speed over ground", "kn", recording.GPSSpeed}, {"course over ground", "deg", recording.GPSHeading}, {"satellites", "", "gps_satellites"}, {"hdop", "", "gps_hdop"}, {"fix quality", "", "gps_quality"}} {
		v := make([]float64, len(n.rows))
		any := false
		for j, row := range n.rows {
			v[j] = row[i]
			any = any || v[j] == v[j]
		}
		if any {
			s.cols = append(s.cols, newColumn(c.head, c.unit, c.ch, v, i+1))
		}
	}
	if !n.date.IsZero() {
		s.epochUnix = float64(n.date.Unix())
	}
	return []*source{s}, nil
}

// newColumn makes a column whose channel the reader knows.
func newColumn(head, unitText, ch string, v []float64, index int) *column {
	c := &column{values: v, decimals: -1}
	c.Column = table.Column{Header: head, Cell: head, Unit: unitText, Index: index, Kind: table.Number}
	c.fixed = ch
	return c
}

// epoch begins or goes on with the epoch at time t of the day.
func (n *nmea) epoch(t float64) {
	if t != t {
		return
	}
	if n.last == n.last && t < n.last-43200 {
		n.day += 86400
	}
	n.last = t
	t += n.day
	if t != n.curT {
		n.flush()
		n.curT = t
		n.cur = make([]float64, nmCount)
		for i := range n.cur {
			n.cur[i] = nan
		}
	}
}

func (n *nmea) flush() {
	if n.cur != nil {
		n.t = append(n.t, n.curT)
		n.rows = append(n.rows, n.cur)
		n.cur = nil
	}
}

func (n *nmea) set(i int, v float64) {
	if n.cur != nil && v == v {
		n.cur[i] = v
	}
}

// position takes the latitude and longitude that begin at field i, both or none.
func (n *nmea) position(s sentence, i int) {
	lat, lon := nmeaAngle(s.at(i), s.at(i+1)), nmeaAngle(s.at(i+2), s.at(i+3))
	if lat == lat && lon == lon && (s.at(i+1) == "N" || s.at(i+1) == "S") && (s.at(i+3) == "E" || s.at(i+3) == "W") {
		n.set(nmLat, lat)
		n.set(nmLon, lon)
	}
}

func number(s string) float64 {
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(x, 0) {
		return nan
	}
	return x
}

// take uses one sentence; false if its kind is not used.
func (n *nmea) take(s sentence) bool {
	switch s.kind {
	case "RMC":
		n.epoch(nmeaTime(s.at(0)))
		if d, ok := nmeaDate(s.at(8)); ok && n.date.IsZero() {
			n.date = d.Add(-time.Duration(n.day) * time.Second)
		}
		if s.at(1) != "V" {
			n.position(s, 2)
			n.set(nmSpeed, number(s.at(6)))
			n.set(nmCourse, number(s.at(7)))
		}
	case "GGA":
		n.epoch(nmeaTime(s.at(0)))
		n.set(nmQuality, number(s.at(5)))
		if s.at(5) != "0" {
			n.position(s, 1)
			n.set(nmSats, number(s.at(6)))
			n.set(nmHDOP, number(s.at(7)))
			n.set(nmAlt, number(s.at(8)))
		}
	case "GNS":
		n.epoch(nmeaTime(s.at(0)))
		if strings.Trim(s.at(5), "N") != "" {
			n.position(s, 1)
			n.set(nmSats, number(s.at(6)))
			n.set(nmHDOP, number(s.at(7)))
			n.set(nmAlt, number(s.at(8)))
		}
	case "GLL":
		n.epoch(nmeaTime(s.at(4)))
		if s.at(5) != "V" {
			n.position(s, 0)
		}
	case "VTG":
		n.set(nmCourse, number(s.at(0)))
		if v := number(s.at(4)); v == v {
			n.set(nmSpeed, v)
		} else if k := number(s.at(6)); k == k {
			n.set(nmSpeed, k*1000/1852)
		}
	case "GSA":
		n.set(nmHDOP, number(s.at(15)))
	case "ZDA":
		n.epoch(nmeaTime(s.at(0)))
		d, e1 := strconv.Atoi(s.at(1))
		m, e2 := strconv.Atoi(s.at(2))
		y, e3 := strconv.Atoi(s.at(3))
		if e1 == nil && e2 == nil && e3 == nil && n.date.IsZero() && y > 1979 && y < 2200 && m >= 1 && m <= 12 && d >= 1 && d <= 31 {
			n.date = time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC).Add(-time.Duration(n.day) * time.Second)
		}
	default:
		if len(n.other) < 50 || n.other[s.kind] > 0 {
			n.other[s.kind]++
		}
		return false
	}
	return true
}
