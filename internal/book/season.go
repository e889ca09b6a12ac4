package book

import (
	"fmt"
	"sort"
	"strings"

	"cornerwright/internal/say"
)

// SeasonQuery asks how a measure at a turn moved over the meetings.
type SeasonQuery struct {
	Circuit string
	Turn    int
	Measure string // one of SeasonMeasures
	Bike    string // "" every bike
	Slot    string // "" every slot
}

// SeasonPoint is one run's answer to a season question: over its timed laps.
type SeasonPoint struct {
	Run     int     `json:"run"`
	Meeting string  `json:"meeting"`
	Day     string  `json:"day"`
	Bike    string  `json:"bike"`
	Sheet   int     `json:"sheet,omitempty"`
	Tyre    string  `json:"tyre,omitempty"`
	Median  float64 `json:"median"`
	Lo      float64 `json:"lo"` // least and greatest of the laps
	Hi      float64 `json:"hi"`
	Laps    int     `json:"laps"`
}

// seasonColumns are the measures that the stored pass table holds: column,
// factor to the unit shown, unit.
var seasonColumns = map[string]struct {
	column string
	factor float64
	unit   string
}{
	"segment": {"segment", 1, "s"}, "entry": {"entry_time", 1, "s"}, "exit": {"exit_time", 1, "s"}, "entry-speed": {"entry_speed", 3.6, "km/h"},
	"min-speed": {"min_speed", 3.6, "km/h"}, "exit-speed": {"exit_speed", 3.6, "km/h"}, "lean": {"max_lean", deg, "deg"}, "decel": {"mean_decel", 1, "m/s2"},
	"cut": {"cut_time", 1, "s"}, "slip": {"peak_slip", 100, "%"}, "push": {"push", 1, "s"}, "surplus": {"surplus", 1, "1/min"}, "air": {"air_time", 1, "s"},
	"limiter": {"limiter_time", 1, "s"}, "brake-point": {"brake_m", 1, "m"}, "pick-up": {"pickup_m", 1, "m"},
}

// SeasonMeasures lists the measures of season questions.
func SeasonMeasures() []string {
	var out []string
	for k := range seasonColumns {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}

// Season answers from the stored pass tables, without computing any run.
func (b *Book) Season(q SeasonQuery) (points []SeasonPoint, unit string, err error) {
	m, ok := seasonColumns[q.Measure]
	if !ok {
		return nil, "", invalid(say.T("there is no measure {measure} over a season", fmt.Sprintf("%q", q.Measure)), say.T("use one of: {x}", strings.Join(SeasonMeasures(), ", ")))
	}
	tyres := map[int]string{}
	if err := each(b.r, func(s scanner) error {
		var n int
		var v string
		err := s.Scan(&n, &v)
		tyres[n] = v
		return err
	}, `SELECT run, value FROM told WHERE field = 'tyre' ORDER BY id`); err != nil {
		return nil, "", b.ioError(err)
	}
	var vals []float64
	flush := func() {
		if len(vals) == 0 {
			return
		}
		p := &points[len(points)-1]
		sort.Float64s(vals)
		n := len(vals)
		p.Lo, p.Hi, p.Laps = vals[0], vals[n-1], n
		p.Median = vals[n/2]
		if n%2 == 0 {
			p.Median = (vals[n/2-1] + vals[n/2]) / 2
		}
		vals = vals[:0]
	}
	// The runs first, then their passes by key: the pass table is clustered by
	// run and turn, so each run costs one short range of it.
	err = each(b.r, func(s scanner) error {
		var p SeasonPoint
		var x float64
		if err := s.Scan(&p.Run, &p.Meeting, &p.Day, &p.Bike, &p.Sheet, &x); err != nil {
			return err
		}
		if len(points) == 0 || points[len(points)-1].Run != p.Run {
			flush()
			p.Tyre = tyres[p.Run]
			points = append(points, p)
		}
		vals = append(vals, x*m.factor)
		return nil
	}, `SELECT r.number, r.meeting, m.day, r.bike, r.sheet, p.`+m.column+` FROM run r JOIN meeting m ON m.id = r.meeting
		JOIN pass p ON p.run = r.number AND p.turn = ?1
		WHERE r.circuit = ?2 AND (?3 = '' OR r.bike = ?3) AND p.timed = 1 AND (?4 = '' OR p.slot = ?4) AND p.`+m.column+` IS NOT NULL
		AND NOT EXISTS (SELECT 1 FROM mark k WHERE k.kind = 'run' AND k.ref = r.number AND k.word = 'struck' AND k.id = (SELECT max(id) FROM mark WHERE kind = 'run' AND ref = r.number))
		ORDER BY r.number`, q.Turn, q.Circuit, q.Bike, q.Slot)
	flush()
	if err == nil {
		sort.SliceStable(points, func(i, j int) bool {
			if points[i].Day != points[j].Day {
				return points[i].Day < points[j].Day
			}
			return points[i].Run < points[j].Run
		})
	}
	return points, m.unit, b.ioError(err)
}

// CellVisit is how long one cell of a setting was in use over a season.
type CellVisit struct {
	Row    int     `json:"row"`
	Column int     `json:"column"`
	DwellS float64 `json:"dwell_s"` // a lap, mean over the runs that used it
	Runs   int     `json:"runs"`
	Where  string  `json:"where"` // circuit and turn with the most of it
}

// Visits tells which cells of a setting were used over a season, and where;
// circuit "" is every circuit.
func (b *Book) Visits(bikeName, settingID, circuitName string) ([]CellVisit, error) {
	type key struct{ row, col int }
	at := map[key]*CellVisit{}
	most := map[key]float64{}
	var order []key
	err := each(b.r, func(s scanner) error {
		var k key
		var name string
		var turn, runs int
		var dwell float64
		if err := s.Scan(&k.row, &k.col, &name, &turn, &dwell, &runs); err != nil {
			return err
		}
		v := at[k]
		if v == nil {
			v = &CellVisit{Row: k.row, Column: k.col}
			at[k] = v
			order = append(order, k)
		}
		v.DwellS += dwell
		v.Runs += runs
		if dwell > most[k] {
			most[k] = dwell
			v.Where = name
			if turn > 0 {
				v.Where = fmt.Sprintf("%s turn %d", name, turn)
			}
		}
		return nil
	}, `SELECT v.row, v.col, r.circuit, v.turn, sum(v.dwell), count(*) FROM visit v JOIN run r ON r.number = v.run
		WHERE r.bike = ?1 AND v.setting = ?2 AND (?3 = '' OR r.circuit = ?3) GROUP BY v.row, v.col, r.circuit, v.turn ORDER BY v.row, v.col`, bikeName, settingID, circuitName)
	var out []CellVisit
	for _, k := range order {
		v := at[k]
		v.DwellS /= float64(v.Runs)
		out = append(out, *v)
	}
	return out, b.ioError(err)
}
