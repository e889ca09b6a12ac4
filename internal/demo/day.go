package demo

import "io"

// Remark is what the rider said after a run, before anyone looked at the data.
type Remark struct {
	Turns    []int
	Phase    string
	Says     string
	Strength int
	Words    string
	True     bool // the bike really does it
}

// StepPlan is the change that the engineer makes after a run.
type StepPlan struct {
	Setting string
	Slot    string
	Rows    [2]float64 // lean of the changed cells, deg; zero for a scalar or list
	Columns [2]float64 // speed, km/h
	Gear    int
	By      float64
	Turn    int    // where it is judged
	Measure string // by what
	Reason  string
}

// DayRun is one run of the demo day.
type DayRun struct {
	File    string
	Note    string
	Tyre    string
	Dialect Dialect
	Run     *Run
	Remarks []Remark
	Step    *StepPlan // tried in this run, decided after the one before
}

// WriteText writes the run's recording in its dialect.
func (d *DayRun) WriteText(w io.Writer) error { return d.Run.WriteText(w, d.Dialect) }

// DemoDay is a day at an invented circuit.
type DemoDay struct {
	Circuit string
	Bike    []byte // the bike file, as it stood in the morning
	Runs    []DayRun
}

// The turn at which the reference sheet cuts too much, the one with too large a
// blip, and the gear with too little engine braking.
const (
	heldTurn  = 10
	blipTurn  = 7
	weakGear  = 2
	planted   = 2.2 // % of slip target that the cells of heldTurn are too low by
	stepSize  = 1.0 // % that the engineer gives back in one step
	laps      = 10
	trialLaps = 16
)

// trialOrder is reference, trial, trial, reference in blocks of two laps, twice
// over, with the out lap before and the in lap after in the reference slot.
func trialOrder() []string {
	order := []string{"A"}
	for range 2 {
		for _, slot := range []string{"A", "B", "B", "A"} {
			order = append(order, slot, slot)
		}
	}
	return append(order, "A")
}

// The cells that the held turn uses and hardly any other does.
var heldRows, heldColumns = [2]float64{40, 56}, [2]float64{140, 140}

// held moves those cells of a sheet.
func held(sh Sheet, by float64) {
	g := sh["slip-target"].([][]float64)
	for i, lean := range slipLeans {
		for j, speed := range slipSpeeds {
			if lean >= heldRows[0] && lean <= heldRows[1] && speed >= heldColumns[0] && speed <= heldColumns[1] {
				g[i][j] += by
			}
		}
	}
}

// Day returns the demo day of a seed: two baselines, a trial with a real effect
// at one turn, a trial without any, and a recording that has suffered.
func Day(seed uint64) *DemoDay {
	c := Circuits()[0]
	causes := []Cause{
		{Kind: OverBlip, Turn: blipTurn, Size: 1150},
		{Kind: WeakEngineBrake, Gear: weakGear, Size: 30},
	}
	base := Heron()
	a := base.Sheets["A"].Clone()
	held(a, -planted)
	eb := a["engine-brake"].([]float64)
	morning := a.Clone()
	morning["engine-brake"].([]float64)[weakGear-1] = eb[weakGear-1] - 30
	bikeSheets := map[string]Sheet{"A": morning, "B": morning.Clone()}

	trial := morning.Clone()
	held(trial, stepSize)
	lift := trial.Clone()
	lift["wheel-lift"] = trial["wheel-lift"].(float64) + 1

	options := func(run int, sheets map[string]Sheet) Options {
		o := DefaultOptions(0, seed*31+uint64(run))
		o.Causes = causes[:1]
		o.Sheets = sheets
		o.Laps = laps
		o.GPSOffset = [2]float64{0.4 * float64(run-2), -0.3 * float64(run-3)}
		return o
	}
	d := &DemoDay{Circuit: c.Name, Bike: base.TOML(bikeSheets)}

	o := options(1, bikeSheets)
	d.Runs = append(d.Runs, DayRun{File: "run1-baseline.csv", Note: "first baseline, both slots alike", Tyre: "rear set 1, new",
		Dialect: Dialect{Delimiter: ",", UnitRow: true, Preamble: []string{"Heron 998, recording of the morning"}},
		Run:     Ride(o),
		Remarks: []Remark{
			{Turns: []int{heldTurn}, Phase: "pickup", Says: "held-back", Strength: 2, Words: "out of ten it holds me back while I am still leaned over", True: true},
			{Turns: []int{blipTurn}, Phase: "entry", Says: "pushes-on", Strength: 2, Words: "into seven it shoves me on after the last downshift", True: true},
			{Turns: []int{1}, Phase: "entry", Says: "wants-engine-braking", Strength: 1, Words: "into one I would like more engine braking", True: true},
			{Turns: []int{4}, Phase: "drive", Says: "spins", Strength: 1, Words: "out of four I think the rear spins up", True: false},
		}})

	o = options(2, bikeSheets)
	d.Runs = append(d.Runs, DayRun{File: "run2-baseline.txt", Note: "second baseline", Tyre: "rear set 1, 10 laps",
		Dialect: Dialect{Delimiter: ";", Comma: true, CRLF: true, Words: German},
		Run:     Ride(o),
		Remarks: []Remark{{Turns: []int{heldTurn}, Phase: "pickup", Says: "held-back", Strength: 2, Words: "ten again, it will not let me go", True: true}}})

	o = options(3, map[string]Sheet{"A": morning, "B": trial})
	o.Laps, o.Slots = trialLaps, trialOrder()
	d.Runs = append(d.Runs, DayRun{File: "run3-trial.csv", Note: "slip target of turn 10 freed in slot B, blocks of two laps", Tyre: "rear set 2, new",
		Dialect: Dialect{Delimiter: "\t", UnitRow: true, Words: Short},
		Run:     Ride(o),
		Step: &StepPlan{Setting: "slip-target", Slot: "B", Rows: heldRows, Columns: heldColumns, By: stepSize,
			Turn: heldTurn, Measure: "segment", Reason: "held back out of turn 10 at full lean; the control cuts below its target"}})

	o = options(4, map[string]Sheet{"A": trial, "B": lift})
	o.Laps, o.Slots = trialLaps, trialOrder()
	d.Runs = append(d.Runs, DayRun{File: "run4-trial.csv", Note: "wheel lift one step freer in slot B, blocks of two laps", Tyre: "rear set 3, new",
		Dialect: Dialect{Delimiter: ",", Clock: "ms"},
		Run:     Ride(o),
		Step: &StepPlan{Setting: "wheel-lift", Slot: "B", By: 1, Turn: heldTurn, Measure: "segment",
			Reason: "to see whether the wheel-lift limit costs drive out of turn 10"}})

	o = options(5, map[string]Sheet{"A": trial, "B": trial.Clone()})
	o.Laps, o.Dirty = 6, true
	d.Runs = append(d.Runs, DayRun{File: "run5-suffered.csv", Note: "a recording that has suffered: outages, a stuck sensor, the stick pulled early", Tyre: "rear set 3, 16 laps",
		Dialect: Dialect{Delimiter: ",", CutOff: true, Jump: true},
		Run:     Ride(o)})
	return d
}
