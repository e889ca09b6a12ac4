package intake

import (
	"encoding/xml"
	"io"
	"math"
	"strings"

	"cornerwright/internal/intake/table"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// readGPX reads the track points of a GPX 1.0 or 1.1 document as a stream.
// Segments are never joined: a gap stands between them. A document cut off in
// the middle gives the points before the cut.
func readGPX(name string, r io.Reader, size int64, opts Options) ([]*source, error) {
	s := &source{name: name, format: "GPX", epochUnix: nan}
	dec := xml.NewDecoder(r)
	dec.Strict = true
	dec.CharsetReader = func(charset string, in io.Reader) (io.Reader, error) {
		return in, nil // points are digits: whatever the charset, they read the same
	}
	var t, lat, lon, ele, speed, hdop, sat []float64
	var lines []int
	newSegment, anySpeed := false, false
	foreign, untimed, badPoint, pointElems := map[string]int{}, 0, 0, 0
	var stack []string
	var cur struct {
		in                                     bool
		lat, lon, ele, time, speed, hdop, sats float64
	}
	var text strings.Builder
	base := nan
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			line, col := dec.InputPos()
			if len(lat) == 0 {
				return nil, &Error{File: name, Line: line, Column: col, Text: say.T("damaged GPX: {why}", err), Mend: say.T("export the track again")}
			}
			s.problem(recording.Fault, line, col, "", say.T("the GPX breaks off after {lat} points: {why}", len(lat), err), say.T("what came before is kept; export the track again if you can"))
			break
		}
		switch e := tok.(type) {
		case xml.StartElement:
			if len(stack) > 100 {
				return nil, &Error{File: name, Text: say.T("GPX nested too deep"), Mend: say.T("export the track again")}
			}
			stack = append(stack, e.Name.Local)
			text.Reset()
			switch e.Name.Local {
			case "trkseg":
				newSegment = len(lat) > 0
			case "trkpt":
				pointElems++
				cur.in = true
				cur.lat, cur.lon, cur.ele, cur.time, cur.speed, cur.hdop, cur.sats = nan, nan, nan, nan, nan, nan, nan
				for _, a := range e.Attr {
					switch a.Name.Local {
					case "lat":
						cur.lat = number(strings.TrimSpace(a.Value))
					case "lon":
						cur.lon = number(strings.TrimSpace(a.Value))
					}
				}
			case "extensions":
			default:
				if e.Name.Local != "speed" && inside(stack, "extensions") && (len(foreign) < 100 || foreign[e.Name.Local] > 0) {
					foreign[e.Name.Local]++
				}
			}
		case xml.CharData:
			if cur.in && text.Len() < 1000 {
				text.Write(e)
			}
		case xml.EndElement:
			if len(stack) > 0 {
				stack = stack[:len(stack)-1]
			}
			ext := inside(stack, "extensions")
			v := strings.TrimSpace(text.String())
			switch {
			case cur.in && e.Name.Local == "trkpt":
				cur.in = false
				line, _ := dec.InputPos()
				// Schema: latitude -90 to 90, longitude -180 (in) to 180 (out).
				if !(cur.lat >= -90 && cur.lat <= 90 && cur.lon >= -180 && cur.lon < 180) {
					if badPoint++; badPoint == 1 {
						s.problem(recording.Warning, line, 0, "", say.T("point without a valid position (lat {lat}, lon {lon}) left out", num(cur.lat), num(cur.lon)), say.T("nothing to do"))
					}
					break
				}
				if cur.time != cur.time {
					untimed++
					break
				}
				if newSegment {
					s.segments = append(s.segments, len(lat))
					newSegment = false
				}
				t, lat, lon = append(t, cur.time), append(lat, cur.lat), append(lon, cur.lon)
				ele, speed, hdop, sat = append(ele, cur.ele), append(speed, cur.speed), append(hdop, cur.hdop), append(sat, cur.sats)
				lines = append(lines, line)
				if opts.Progress != nil && len(t)%20000 == 0 {
					opts.Progress(Progress{Bytes: dec.InputOffset(), Total: size, Rows: len(t)})
				}
			case cur.in && e.Name.Local == "time" && !ext:
				if sec, frac, k, ok := table.ParseDateTime([]byte(v)); ok {
					if base != base {
						base = float64(sec)
					}
					cur.time = float64(sec) - base + float64(frac)/math.Pow(10, float64(k))
				}
			case cur.in && e.Name.Local == "ele" && !ext:
				cur.ele = number(v)
			case cur.in && e.Name.Local == "speed": // GPX 1.0, or a common extension; m/s
				if x := number(v); x == x {
					cur.speed, anySpeed = x, true
				}
			case cur.in && e.Name.Local == "hdop" && !ext:
				cur.hdop = number(v)
			case cur.in && e.Name.Local == "sat" && !ext:
				cur.sats = number(v)
			}
			text.Reset()
		}
	}
	if untimed > 0 {
		s.problem(recording.Warning, 0, 0, "", say.T("{untimed} {untimed|point|points} without a time left out", untimed), say.T("export the track with times"))
		s.lostRows += untimed
	}
	if badPoint > 1 {
		s.problem(recording.Warning, 0, 0, "", say.T("{badpoint} points without a valid position left out in all", badPoint), say.T("nothing to do"))
	}
	s.lostRows += badPoint
	if len(lat) == 0 {
		return nil, &Error{File: name, Line: 1, Text: say.T("GPX without a single timed track point ({pointelems} {pointelems|point|points} seen)", pointElems), Mend: say.T("export the recorded track, not a route or waypoints, with times")}
	}
	if len(foreign) > 0 {
		n := 0
		for _, c := range foreign {
			n += c
		}
		s.problem(recording.Note, 0, 0, "", say.T("{n} {n|element|elements} in extensions ignored, of {foreign} {foreign|kind|kinds} (speed is read)", n, len(foreign)), say.T("nothing to do"))
	}
	s.rows = len(lat)
	s.line = func(r int) int {
		if r < len(lines) {
			return lines[r]
		}
		return 0
	}
	s.clock = newColumn("time", "s", timeChannel, t, 0)
	s.cols = []*column{s.clock, newColumn("lat", "deg", recording.Latitude, lat, 1), newColumn("lon", "deg", recording.Longitude, lon, 2)}
	opt := func(head, u, ch string, v []float64, i int) {
		for _, x := range v {
			if x == x {
				s.cols = append(s.cols, newColumn(head, u, ch, v, i))
				return
			}
		}
	}
	opt("ele", "m", recording.Altitude, ele, 3)
	if anySpeed {
		opt("speed", "m/s", recording.GPSSpeed, speed, 4)
	}
	opt("hdop", "", "gps_hdop", hdop, 5)
	opt("sat", "", "gps_satellites", sat, 6)
	s.epochUnix = base
	return []*source{s}, nil
}

func inside(stack []string, name string) bool {
	for _, s := range stack {
		if s == name {
			return true
		}
	}
	return false
}
