package proving_test

import (
	"flag"
	"fmt"
	"sort"
	"strings"
	"testing"
	"time"

	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
)

// firstSeed is the seed that study runs begin at. The scored seeds were chosen
// before a figure was seen and are for scoring alone: develop on others.
var firstSeed = flag.Uint64("seed", 91009, "first seed; any other than the scored ones to develop on")

// moreSeeds takes that many seeds on all three circuits.
var moreSeeds = flag.Int("seeds", 0, "seeds on each of three circuits; 0: one run a row, or ten seeds with CORNERWRIGHT_FULL=1")

// world is one way in which the world differs from what the analysis assumes.
type world struct {
	name    string
	set     func(o *demo.Options)
	dialect func(d *demo.Dialect)
	limits  limits
}

// limits are what a row must keep; zero is the usual one. Those of rows that
// differ are due to what docs/method.md says cannot be known there.
type limits struct {
	lean, slip float64 // rms, degrees and percentage points; 0.3 and 0.35
	leanCovers float64 // % of samples that the 95 % interval must hold; 93. -1: none
	lap        float64 // rms, ms; 8
}

func nasty(set func(n *demo.Nasty)) func(o *demo.Options) {
	return func(o *demo.Options) { set(&o.Nasty) }
}

var worlds = []world{
	{name: "as assumed"},
	{name: "antenna 0.9 m above the tyre line", set: nasty(func(n *demo.Nasty) { n.AntennaHeight = 0.9 })},
	{name: "rider hangs off, 4.6°", set: nasty(func(n *demo.Nasty) { n.HangOff = 0.08 }), limits: limits{lean: 0.4}},
	{name: "tyres grow 1 % to 290 km/h", set: nasty(func(n *demo.Nasty) { n.TyreGrowth = 0.01 })},
	{name: "tyres sink 0.6 % for 1000 N", set: nasty(func(n *demo.Nasty) { n.LoadRadius = 0.006 }), limits: limits{slip: 1.3}},
	{name: "crown is no circle", set: nasty(func(n *demo.Nasty) { n.CrownNonCircular = 0.02 })},
	{name: "banks 4°", set: nasty(func(n *demo.Nasty) { n.Bank = 0.07 }), limits: limits{lean: 1.8, leanCovers: -1}},
	{name: "grades 3 %", set: nasty(func(n *demo.Nasty) { n.Grade = 0.03 }), limits: limits{slip: 0.45}},
	{name: "wind 5 m/s with gusts", set: nasty(func(n *demo.Nasty) { n.Wind = 5 }), limits: limits{slip: 0.45}},
	{name: "throttle map bent", set: nasty(func(n *demo.Nasty) { n.ThrottleMapCurve = 1 })},
	{name: "throttle reaches 92 %", set: nasty(func(n *demo.Nasty) { n.ThrottleTop = 0.92 })},
	{name: "lean scale 5 % large", set: nasty(func(n *demo.Nasty) { n.LeanScale = 0.05 }), limits: limits{lean: 2}},
	{name: "GPS speed filtered 0.15 s", set: nasty(func(n *demo.Nasty) { n.GPSSpeedLag = 0.15 })},
	{name: "logger's clock 40 ppm off GPS time", set: nasty(func(n *demo.Nasty) { n.GPSDrift = 4e-5 })},
	{name: "wheel speeds from 12 pulses", set: nasty(func(n *demo.Nasty) { n.WheelPulses = 12 }), limits: limits{slip: 0.7}},
	{name: "48 pulses, 1 in 1000 missed", set: nasty(func(n *demo.Nasty) { n.WheelPulses, n.MissedPulses = 48, 0.001 })},
	{name: "rpm with ignition noise", set: nasty(func(n *demo.Nasty) { n.Ignition = 0.003 })},
	{name: "10 Hz beside 100 Hz", set: nasty(func(n *demo.Nasty) { n.SlowRate = 10 }), limits: limits{lean: 0.45}},
	{name: "dropouts", set: nasty(func(n *demo.Nasty) { n.Dropouts = true })},
	{name: "stuck, NaN, spikes, noughts", set: nasty(func(n *demo.Nasty) { n.Faults = true })},
	{name: "traffic, late brakes, other line", set: nasty(func(n *demo.Nasty) { n.Traffic = true })},
	{name: "two outings in one file", set: func(o *demo.Options) { o.Outings = 2 }},
	{name: "header lies on units and signs", dialect: func(d *demo.Dialect) { d.Words = lying }},
	{name: "all that the bike and road do", set: nasty(bikeAndRoad), limits: limits{lean: 1.5, slip: 0.9, leanCovers: -1}},
	{name: "all that the logger does", set: nasty(loggerDoes), dialect: func(d *demo.Dialect) { d.Words = lying }, limits: limits{lean: 1.5, slip: 0.5, lap: 10}},
	{name: "all together", set: nasty(func(n *demo.Nasty) { bikeAndRoad(n); loggerDoes(n) }), dialect: func(d *demo.Dialect) { d.Words = lying }, limits: limits{lean: 2.5, slip: 1, leanCovers: -1, lap: 10}},
}

func bikeAndRoad(n *demo.Nasty) {
	n.AntennaHeight, n.HangOff, n.TyreGrowth, n.LoadRadius, n.CrownNonCircular = 0.6, 0.05, 0.007, 0.004, 0.012
	n.Bank, n.Grade, n.Wind, n.ThrottleMapCurve, n.Traffic = 0.05, 0.02, 3, 0.6, true
}

func loggerDoes(n *demo.Nasty) {
	n.LeanScale, n.GPSSpeedLag, n.GPSDrift, n.WheelPulses, n.MissedPulses = 0.03, 0.1, 3e-5, 48, 0.0003
	n.ThrottleTop, n.Ignition, n.Faults, n.SlowRate = 0.95, 0.002, true, 20
}

// lying is a file whose head does not say what stands below it.
var lying = demo.Wording{
	"front_speed": {Header: "Front wheel speed", Unit: "km/h", Factor: 1 / 1.609344, Decimals: 2}, // mph
	"gps_speed":   {Header: "GPS speed", Unit: "km/h", Factor: 1 / 1.852, Decimals: 2},            // knots
	"lean":        {Header: "Lean angle", Unit: "deg", Factor: -1, Decimals: 2},                   // positive to the left
	"yaw_rate":    {Header: "Yaw rate", Unit: "deg/s", Factor: -1, Decimals: 2},
	"accel_x":     {Header: "Longitudinal acceleration", Unit: "g", Factor: 9.80665, Decimals: 2},
	"grip":        {Header: "Twist grip", Unit: "%", Factor: 0.01, Decimals: 3},
	"front_brake": {Header: "Front brake", Unit: "%", Factor: 4, Decimals: 1}, // of 25 bar
	"coolant":     {Header: "Coolant temperature", Unit: "degC", Factor: 1, Decimals: 1},
}

// options are a run of laps in slots A B B A, with things planted at turns that
// the seed chooses: an over-blip, hop, wheel lift, a late pick-up, and in slot B
// 0.08 s gained out of another turn.
func options(ci int, seed uint64, laps int) demo.Options {
	o := demo.DefaultOptions(ci, seed)
	o.Laps = laps
	o.Slots = []string{"A"}
	for k := range laps {
		o.Slots = append(o.Slots, []string{"A", "B", "B", "A"}[k%4])
	}
	o.Slots = append(o.Slots, "A")
	turns := demo.Circuits()[ci].Turns
	n := len(turns)
	length := demo.Circuits()[ci].Length
	straight := func(k int) float64 { // m after turn k, from 0
		d := turns[(k+1)%n].Entry - turns[k].Exit
		if d < 0 {
			d += length
		}
		return d
	}
	used := map[int]bool{}
	find := func(from int, ok func(k int) bool) int {
		for i := range n {
			k := (int(seed) + from + i) % n
			if !used[k] && !turns[k].Kink && turns[k].Radius < 140 && ok(k) {
				used[k] = true
				return k + 1
			}
		}
		return 0
	}
	// The effect first: what carries on to the next turn must not fall into a cause.
	e := find(0, func(k int) bool { return turns[k].Radius < 120 && !turns[(k+1)%n].Kink })
	o.Effects = []demo.Effect{{Slot: "B", Turn: e, Seconds: -0.08}}
	plant := func(kind demo.CauseKind, from int, ok func(k int) bool) {
		if t := find(from, ok); t > 0 {
			o.Causes = append(o.Causes, demo.Cause{Kind: kind, Turn: t})
		}
	}
	plant(demo.WheelLift, 2, func(k int) bool { return straight(k) > 180 && turns[k].Radius < 60 })
	plant(demo.OverBlip, 3, func(k int) bool { return straight((k+n-1)%n) > 180 })
	plant(demo.Hop, 4, func(k int) bool { return straight((k+n-1)%n) > 180 })
	plant(demo.LatePickUp, 5, func(int) bool { return true })
	return o
}

// TestWorld takes runs of every world the whole way, from the bytes of the file
// to the verdict, and prints the table of docs/figures-world.md.
func TestWorld(t *testing.T) {
	circuits, seeds, laps := []int{0, 1, 3}, *moreSeeds, 12
	if seeds == 0 && proving.Full() {
		seeds = 10
	}
	small := seeds == 0
	if small {
		seeds, laps = 1, 8
	}
	table := []string{tableHead}
	for wi, wd := range worlds {
		t.Run(strings.ReplaceAll(wd.name, " ", "-"), func(t *testing.T) {
			began := time.Now()
			on := circuits
			if small {
				on = circuits[wi%len(circuits):][:1]
			}
			var w row
			wd.ride(t, on, laps, 0, seeds, w.add)
			if n := w.others; !small && pct(w.othersHeld, n) < othersLimit {
				// Some three hundred effects tell 93 % from 95 poorly, and the rows of one
				// seed share their rides: the limit is asked of three times as many.
				again := row{withheld: map[string]int{}}
				wd.ride(t, on, laps, seeds, 3*seeds, again.verdict)
				t.Logf("other turns' effects held %.1f %% of %d; of the next seeds %.1f %% of %d", pct(w.othersHeld, n), n, pct(again.othersHeld, again.others), again.others)
				w.othersHeld, w.others = w.othersHeld+again.othersHeld, n+again.others
			}
			line := w.line(wd.name)
			table = append(table, line)
			t.Log(tableHead + "\n" + line)
			w.judge(t, wd.limits, !small)
			t.Logf("%v %v, %.1f s", counted(w.wrongly), counted(w.withheld), time.Since(began).Seconds())
		})
	}
	t.Log("\n" + strings.Join(table, "\n"))
}

// ride takes the runs of the seeds from one to before another through a world, on
// every circuit.
func (wd world) ride(t *testing.T, circuits []int, laps, from, to int, add func(x *chained)) {
	t.Helper()
	for _, ci := range circuits {
		for k := from; k < to; k++ {
			seed := *firstSeed + uint64(17*k+1000*ci)
			o := options(ci, seed, laps)
			d := demo.Plain
			if wd.set != nil {
				wd.set(&o)
			}
			if o.Outings == 2 {
				o.Slots = twice(o.Slots, laps)
			}
			if wd.dialect != nil {
				wd.dialect(&d)
			}
			x, err := chain(o, d)
			if err != nil {
				t.Fatalf("circuit %d seed %d: %v", ci, seed, err)
			}
			if x.refused != "" {
				t.Errorf("circuit %d seed %d: refused: %s", ci, seed, x.refused)
			}
			if testing.Verbose() && k == 0 {
				x.log(t, ci)
			}
			add(x)
		}
	}
}

// log tells what the analysis said of a run.
func (x *chained) log(t *testing.T, ci int) {
	for _, p := range x.problems {
		t.Logf("circuit %d: %s %s: %s", ci, p.Severity, p.Channel, p.Text)
	}
	for i, r := range x.rides {
		t.Logf("circuit %d: lean from %s, scale %.3f, sd %.2f deg; delay %.3f, tyres front %v rear %v", ci, r.Lean.Source, r.Lean.Scale, r.Lean.SE*57.3, r.Position.Latency, r.Tyres.Front.Identified, r.Tyres.Rear.Identified)
		for _, c := range r.Cannot {
			t.Logf("  outing %d cannot: %s: %s", i+1, c.What, c.Why)
		}
	}
}

// twice lays the slots of a run over two outings: each has its own out and in lap.
func twice(slots []string, laps int) []string {
	one := append(append([]string{"A"}, slots[1:1+laps/2]...), "A")
	return append(one, one...)
}

func counted(m map[string]int) string {
	var out []string
	for k, n := range m {
		out = append(out, fmt.Sprintf("%s %d", k, n))
	}
	sort.Strings(out)
	return strings.Join(out, "; ")
}
