package book

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"regexp"
	"sort"
	"strconv"
	"strings"

	"cornerwright/internal/circuit"
	"cornerwright/internal/inference"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
	"cornerwright/internal/verdict"
)

// TrialQuery narrows the trials of a season; empty fields ask for all. Texts
// match without regard to case, as a part of what stands in the book.
type TrialQuery struct {
	Bike, Circuit, Setting, Tyre string
	Shape                        string // words of TurnShape, as "slow left"
	Turn                         int
	Measure                      string
	Answer                       string
	TempLo, TempHi               float64 // °C, from the words told about the weather; both 0: any
	Unjudged                     bool    // steps that no verdict has met yet, too
}

// Trial is a step with what was rehearsed, what came of it, and under which
// circumstances; or a comparison of runs without a step (Step 0).
type Trial struct {
	Step                  int
	Bike, Setting, Slot   string
	More                  int // +1 the step went up, -1 down, 0 both or unknown
	Reason, State         string
	Circuit, Meeting, Day string
	Tyre, Weather         string
	TempC                 float64 // NaN unknown
	Turn                  int
	Shape                 string
	Runs                  []int
	Verdict               *verdict.Verdict // nil: not judged yet; laps are not kept in it
	Rehearsed             []Rehearsed      // what a rehearsal said about measures of the verdict
}

// TurnShape names a turn for searches over circuits: its pace by the least
// radius of the line, its direction, and more than one apex. The limits are
// common practice: a hairpin below 25 m, slow below 50, medium below 110.
func TurnShape(t circuit.Turn) string {
	pace := "fast"
	switch {
	case t.Kink:
		pace = "kink"
	case t.MinRadius < 25:
		pace = "hairpin"
	case t.MinRadius < 50:
		pace = "slow"
	case t.MinRadius < 110:
		pace = "medium"
	}
	s := pace + " " + fmt.Sprint(t.Direction)
	if len(t.Apexes) > 1 {
		s += ", double apex"
	}
	return s
}

var celsius = regexp.MustCompile(`(-?\d+(?:[.,]\d+)?)\s*(?:°\s*)?[Cc]\b`)

// temperature reads the first temperature in °C from words, NaN if none.
func temperature(words string) float64 {
	m := celsius.FindStringSubmatch(words)
	if m == nil {
		return math.NaN()
	}
	v, err := strconv.ParseFloat(strings.Replace(m[1], ",", ".", 1), 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

func holds(text, words string) bool {
	text = strings.ToLower(text)
	for _, w := range strings.Fields(strings.ToLower(words)) {
		if !strings.Contains(text, w) {
			return false
		}
	}
	return true
}

// Trials lists the season's trials that answer the query, oldest first. A step
// that was judged on several sets of runs stands once for each. Rehearsals are
// computed once for a step and kept.
func (b *Book) Trials(ctx context.Context, q TrialQuery) ([]Trial, error) {
	steps := map[int]Step{}
	all, err := b.Steps("")
	if err != nil {
		return nil, err
	}
	for _, s := range all {
		steps[s.ID] = s
	}
	var found []Trial
	judged := map[int]bool{}
	err = each(b.r, func(s scanner) error {
		var t Trial
		var runs, data string
		if err := s.Scan(&t.Step, &runs, &data); err != nil {
			return err
		}
		v := new(verdict.Verdict)
		if err := errors.Join(json.Unmarshal([]byte(runs), &t.Runs), json.Unmarshal([]byte(data), v)); err != nil {
			return damaged(say.T("a verdict cannot be read"), err)
		}
		t.Verdict, t.Turn = v, v.Primary.Turn
		judged[t.Step] = true
		found = append(found, t)
		return nil
	}, `SELECT step, runs, data FROM verdict ORDER BY id`)
	if err != nil {
		return nil, b.ioError(err)
	}
	if q.Unjudged {
		for _, s := range all {
			if !judged[s.ID] {
				t := Trial{Step: s.ID, Turn: s.Primary.Turn}
				if s.Run > 0 {
					t.Runs = []int{s.Run}
				}
				found = append(found, t)
			}
		}
	}
	days := map[string]string{}
	meetings, err := b.Meetings()
	if err != nil {
		return nil, err
	}
	for _, m := range meetings {
		days[m.ID] = m.Day
	}
	lines := map[string]*circuit.Circuit{}
	out := found[:0]
	for _, t := range found {
		if s, ok := steps[t.Step]; ok {
			t.Bike, t.Setting, t.Slot, t.Reason, t.State, t.More = s.Bike, s.Setting, s.Slot, s.Reason, s.State, way(s.Cells)
		}
		if len(t.Runs) > 0 {
			// The last run is the one on trial; the first may be a reference.
			r, err := b.Run(fmt.Sprint(t.Runs[len(t.Runs)-1]))
			if err != nil {
				return nil, err
			}
			t.Bike, t.Circuit, t.Meeting, t.Day, t.Tyre, t.Weather = r.Bike, r.Circuit, r.Meeting, days[r.Meeting], r.Tyre, r.Weather
			if t.Day == "" {
				t.Day = r.Meeting
			}
		}
		t.TempC = temperature(t.Weather)
		if t.Circuit != "" && t.Turn > 0 {
			c := lines[t.Circuit]
			if c == nil {
				if c, err = b.Circuit(t.Circuit); err != nil {
					return nil, err
				}
				lines[t.Circuit] = c
			}
			if x := turnOf(c, t.Turn); x != nil {
				t.Shape = TurnShape(*x)
			}
		}
		if !q.admits(&t) {
			continue
		}
		if t.Step > 0 && t.Verdict != nil {
			if t.Rehearsed, err = b.rehearsed(ctx, steps[t.Step].Step, t.Verdict); err != nil {
				return nil, err
			}
		}
		out = append(out, t)
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Day < out[j].Day })
	return out, nil
}

func (q *TrialQuery) admits(t *Trial) bool {
	measure, answer := "", ""
	if t.Verdict != nil {
		measure, answer = t.Verdict.Primary.Measure, string(t.Verdict.Primary.Answer)
	}
	return holds(t.Bike, q.Bike) && holds(t.Circuit, q.Circuit) && holds(t.Setting, q.Setting) && holds(t.Tyre, q.Tyre) && holds(t.Shape, q.Shape) &&
		(q.Turn == 0 || q.Turn == t.Turn) && (q.Measure == "" || q.Measure == measure) && (q.Answer == "" || q.Answer == answer) &&
		(q.TempLo == 0 && q.TempHi == 0 || t.TempC >= q.TempLo && t.TempC <= q.TempHi)
}

// way tells whether a step goes up or down.
func way(cells []setting.Cell) int {
	up, down := false, false
	for _, c := range cells {
		up, down = up || c.New > c.Old, down || c.New < c.Old
	}
	switch {
	case up && !down:
		return 1
	case down && !up:
		return -1
	}
	return 0
}

// Evidence is what several meetings say about one setting moved one way.
type Evidence struct {
	Setting string
	More    int // +1 up, -1 down
	Measure string
	Unit    string
	Better  verdict.Direction
	verdict.Season
}

// Title names the evidence for people.
func (e Evidence) Title() say.Text {
	switch m := say.Key(e.Measure); e.More {
	case 1:
		return say.T("{setting} up: {measure}", e.Setting, m)
	case -1:
		return say.T("{setting} down: {measure}", e.Setting, m)
	default:
		return say.T("{setting} changed: {measure}", e.Setting, m)
	}
}

// CombineTrials joins the trials of one setting, direction and measure over
// meetings by random effects. A step counts once a meeting, by its verdict with
// the most laps; refused verdicts and nil checks do not count.
func CombineTrials(ts []Trial) []Evidence {
	type group struct {
		setting, measure, unit string
		more                   int
	}
	type once struct {
		step    int
		meeting string
	}
	members := map[group]map[once]Trial{}
	var order []group
	for _, t := range ts {
		if t.Step == 0 || t.Verdict == nil || t.Verdict.Refusal != nil || t.Verdict.NilCheck || !(t.Verdict.Primary.SE > 0) {
			continue
		}
		e := t.Verdict.Primary
		g := group{t.Setting, e.Measure, e.Unit, t.More}
		if members[g] == nil {
			members[g] = map[once]Trial{}
			order = append(order, g)
		}
		k := once{t.Step, t.Meeting}
		if old, ok := members[g][k]; !ok || e.N >= old.Verdict.Primary.N {
			members[g][k] = t
		}
	}
	var out []Evidence
	for _, g := range order {
		var mine []Trial
		for _, t := range members[g] {
			mine = append(mine, t)
		}
		sort.Slice(mine, func(i, j int) bool {
			if mine[i].Day != mine[j].Day {
				return mine[i].Day < mine[j].Day
			}
			return mine[i].Step < mine[j].Step
		})
		x := Evidence{Setting: g.setting, More: g.more, Measure: g.measure, Unit: g.unit, Better: mine[0].Verdict.Primary.Better}
		var ms []verdict.MeetingEffect
		for _, t := range mine {
			e := t.Verdict.Primary
			name := fmt.Sprintf("%s, %s", t.Day, t.Circuit)
			if t.Turn > 0 {
				name += fmt.Sprintf(" turn %d", t.Turn)
			}
			ms = append(ms, verdict.MeetingEffect{Name: name, Value: e.Value, SE: e.SE, DF: e.DF, NRef: e.NRef, NTrial: e.NTrial})
		}
		x.Season = verdict.Combine(ms)
		out = append(out, x)
	}
	return out
}

// FalseAlarms is the book's score of reference against reference: how many nil
// checks were answered better or worse. With none, the estimate is unknown.
func (b *Book) FalseAlarms() (inference.Estimate, error) {
	var vs []verdict.Verdict
	err := each(b.r, func(s scanner) error {
		var data string
		if err := s.Scan(&data); err != nil {
			return err
		}
		var v verdict.Verdict
		if err := json.Unmarshal([]byte(data), &v); err != nil {
			return damaged(say.T("a verdict cannot be read"), err)
		}
		vs = append(vs, v)
		return nil
	}, `SELECT data FROM verdict ORDER BY id`)
	if err != nil {
		return inference.Estimate{}, b.ioError(err)
	}
	return verdict.FalseAlarms(vs), nil
}

// RunScatter learns from the stored pass tables how far runs differ that were
// ridden with the same bike, sheet, slot and tyre set at one meeting. ok is
// false until the book holds 3 degrees of freedom of such repeats.
func (b *Book) RunScatter(bikeName, circuitName string, turn int, measure string) (sd, df float64, ok bool, err error) {
	m, known := seasonColumns[measure]
	if !known || turn == 0 {
		return 0, 0, false, nil
	}
	runs, err := b.Runs(RunFilter{Bike: bikeName, Circuit: circuitName})
	if err != nil {
		return 0, 0, false, err
	}
	about := map[int]Run{}
	for _, r := range runs {
		about[r.Number] = r
	}
	type side struct {
		run  int
		slot string
	}
	values := map[side][]float64{}
	var order []side
	err = each(b.r, func(s scanner) error {
		var k side
		var x float64
		if err := s.Scan(&k.run, &k.slot, &x); err != nil {
			return err
		}
		if _, mine := about[k.run]; mine {
			if values[k] == nil {
				order = append(order, k)
			}
			values[k] = append(values[k], x*m.factor)
		}
		return nil
	}, `SELECT run, slot, `+m.column+` FROM pass WHERE turn = ? AND timed = 1 AND `+m.column+` IS NOT NULL ORDER BY run, lap`, turn)
	if err != nil {
		return 0, 0, false, b.ioError(err)
	}
	var means []verdict.RunMean
	for _, k := range order {
		v, r := values[k], about[k.run]
		if len(v) < 3 {
			continue
		}
		// The median, as marks and slow laps are not looked at here; 1.2533 is
		// what it loses against the mean at the normal.
		se := 1.2533 * inference.MADScale * inference.MAD(v) / math.Sqrt(float64(len(v)))
		slot := k.slot
		if slot == "" {
			slot = r.Slot
		}
		means = append(means, verdict.RunMean{Group: fmt.Sprintf("%s|%d|%s|%s", r.Meeting, r.Sheet, slot, tyreSet(r.Tyre)),
			Value: inference.Median(v), SE: se, Measured: len(v)})
	}
	sd, df, ok = verdict.LearnRunScatter(means)
	return sd, df, ok, nil
}
