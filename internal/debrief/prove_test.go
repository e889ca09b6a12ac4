package debrief

import (
	"math"
	"testing"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
	"cornerwright/internal/ride"
	"cornerwright/internal/setting"
)

// told is a simulated run, analysed, beside its truth.
type told struct {
	run   *demo.Run
	ride  *ride.Ride
	bike  *bike.Bike
	sheet setting.Sheet
	turn  map[int]int // truth turn -> turn of the analysis
}

func tell(t testing.TB, o demo.Options) told {
	t.Helper()
	run := demo.Ride(o)
	// The crew's bike file holds the sheets that were ridden.
	b, err := bike.Parse("demo.toml", run.Bike.TOML())
	if err != nil {
		t.Fatal(err)
	}
	r, err := ride.Analyse(proving.Recording(run), b, nil, ride.Options{})
	if err != nil {
		t.Fatal(err)
	}
	x := told{run, r, b, setting.NewSheet(b.Name, b.First), map[int]int{}}
	// A truth turn is the turn whose passes hold its slowest instants.
	votes := map[[2]int]int{}
	for _, p := range run.Truth.Passes {
		if math.IsNaN(p.Apex) {
			continue
		}
		for i := range r.Passes {
			if q := &r.Passes[i]; p.Apex >= q.Start && p.Apex < q.End {
				votes[[2]int{p.Turn, q.Turn}]++
			}
		}
	}
	for k, n := range votes {
		if best, ok := x.turn[k[0]]; !ok || n > votes[[2]int{k[0], best}] {
			x.turn[k[0]] = k[1]
		}
	}
	return x
}

// planted is one cause with the remark that a rider would make of it and the
// first proposal that mends it.
type planted struct {
	kind  demo.CauseKind
	says  Complaint
	phase circuit.Phase
	mends func(x told, c demo.Cause, p Proposal) bool
}

func changes(on string, sign float64) func(told, demo.Cause, Proposal) bool {
	return func(x told, c demo.Cause, p Proposal) bool {
		if p.Kind != ChangeSetting {
			return false
		}
		s := x.bike.Setting(p.Step.Setting)
		for _, cell := range p.Step.Cells {
			if s.ActsOn() != on || (cell.New-cell.Old)*sign <= 0 {
				return false
			}
			if s.Kind == setting.List && c.Gear > 0 && cell.Column != c.Gear-1 {
				return false
			}
		}
		return len(p.Step.Cells) > 0
	}
}

func isKind(k Kind) func(told, demo.Cause, Proposal) bool {
	return func(_ told, _ demo.Cause, p Proposal) bool { return p.Kind == k }
}

var causes = map[demo.CauseKind]planted{
	demo.StrongControl:      {demo.StrongControl, "held-back", circuit.PhasePickup, changes("slip-target", +1)},
	demo.OverBlip:           {demo.OverBlip, "pushes-on", circuit.PhaseEntry, changes("blip", -1)},
	demo.WeakEngineBrake:    {demo.WeakEngineBrake, "wants-engine-braking", circuit.PhaseEntry, changes("engine-brake", +1)},
	demo.LimiterBeforeBrake: {demo.LimiterBeforeBrake, "limiter-early", circuit.PhaseBrake, func(_ told, _ demo.Cause, p Proposal) bool { return p.Kind == Inspect || p.Kind == Technique }},
	demo.WheelLift:          {demo.WheelLift, "wheelies", circuit.PhaseDrive, changes("wheelie-limit", -1)},
	demo.Hop:                {demo.Hop, "hops", circuit.PhaseBrake, changes("engine-brake", -1)},
	demo.Dragging:           {demo.Dragging, "lazy", circuit.PhaseDrive, isKind(Inspect)},
	demo.LatePickUp:         {demo.LatePickUp, "late-pick-up", circuit.PhasePickup, isKind(Technique)},
}

// corners lists the truth turns that are neither kinks nor so fast that nothing
// happens, in order.
func corners(x *demo.Run) []demo.Turn {
	var out []demo.Turn
	for _, t := range x.Truth.Turns {
		if !t.Kink && t.Radius < 140 {
			out = append(out, t)
		}
	}
	return out
}

// straightAfter is the way from a turn's exit to the next turn's entry, m.
func straightAfter(x *demo.Run, n int) float64 {
	t := x.Truth.Turns
	d := t[n%len(t)].Entry - t[n-1].Exit
	if d < 0 {
		d += x.Truth.Length
	}
	return d
}

// plans are the runs of one circuit and seed: causes that live in one sheet get
// a run each, those that live at a turn share one.
func plans(t testing.TB, c int, seed uint64) [][]demo.Cause {
	o := demo.DefaultOptions(c, seed)
	o.Laps = 1
	x := demo.Ride(o)
	t0 := corners(x)
	pick := func(k int) int { return t0[(int(seed)+k)%len(t0)].Number }
	used := map[int]bool{}
	find := func(k int, ok func(n int) bool) int {
		for i := range t0 {
			n := pick(k + i)
			if !used[n] && ok(n) {
				used[n] = true
				return n
			}
		}
		return 0
	}
	any := func(int) bool { return true }
	before := func(n int) int { return (n+len(x.Truth.Turns)-2)%len(x.Truth.Turns) + 1 }
	gear := map[int]int{}
	for _, p := range x.Truth.Passes {
		gear[p.Turn] = p.Gear
	}
	eb := pick(2)
	var shared []demo.Cause
	drags := find(1, func(n int) bool { return straightAfter(x, n) > 300 })
	if drags > 0 {
		shared = append(shared, demo.Cause{Kind: demo.Dragging, Turn: drags})
	}
	// An engine on its limiter hides what drags on that straight.
	if n := find(0, func(n int) bool { return before(n) != drags && straightAfter(x, before(n)) > 300 }); n > 0 {
		shared = append(shared, demo.Cause{Kind: demo.LimiterBeforeBrake, Turn: n})
	}
	if n := find(2, func(n int) bool { return straightAfter(x, n) > 180 && gear[n] <= 2 }); n > 0 {
		shared = append(shared, demo.Cause{Kind: demo.WheelLift, Turn: n})
	}
	for k, kind := range []demo.CauseKind{demo.OverBlip, demo.Hop} {
		if n := find(3+k, func(n int) bool { return straightAfter(x, before(n)) > 180 }); n > 0 {
			shared = append(shared, demo.Cause{Kind: kind, Turn: n})
		}
	}
	if n := find(5, any); n > 0 {
		shared = append(shared, demo.Cause{Kind: demo.LatePickUp, Turn: n})
	}
	return [][]demo.Cause{
		nil,
		{{Kind: demo.StrongControl, Turn: pick(1)}},
		{{Kind: demo.WeakEngineBrake, Turn: eb, Gear: gear[eb], Size: 25}},
		shared,
	}
}

type score struct{ n, right, firstN, first int }

func TestPlantedCauses(t *testing.T) {
	sums := map[demo.CauseKind]*score{}
	lies := map[Complaint]*score{}
	for c := range demo.Circuits() {
		for _, seed := range proving.Seeds() {
			for _, plan := range plans(t, c, seed) {
				o := demo.DefaultOptions(c, seed)
				if !proving.Full() {
					o.Laps = 6
				}
				o.Causes = plan
				x := tell(t, o)
				if plan == nil {
					falseRemarks(t, x, lies)
					continue
				}
				for _, cause := range plan {
					w := causes[cause.Kind]
					s := sums[cause.Kind]
					if s == nil {
						s = &score{}
						sums[cause.Kind] = s
					}
					turn, ok := x.turn[cause.Turn]
					if !ok {
						continue
					}
					if !shows(x, cause) {
						t.Logf("circuit %d seed %d: %s at turn %d did nothing that the truth shows", c, seed, cause.Kind, cause.Turn)
						continue
					}
					res := Debrief(x.ride, x.bike, []Remark{{ID: 1, Turns: []int{turn}, Phase: w.phase, Says: w.says, Strength: 2}}, x.sheet, "B", Options{})
					f := res.Findings[0]
					s.n++
					if f.Stance == Agrees || f.Stance == Partly {
						s.right++
						s.firstN++
						if len(f.Proposals) > 0 && w.mends(x, cause, f.Proposals[0]) {
							s.first++
						} else {
							t.Logf("circuit %d seed %d %s turn %d (ours %d): first proposal %+v", c, seed, cause.Kind, cause.Turn, turn, first(f))
						}
					} else {
						t.Logf("circuit %d seed %d %s turn %d (ours %d): %s: %s", c, seed, cause.Kind, cause.Turn, turn, f.Stance, f.Text)
					}
				}
			}
		}
	}
	all, lie := score{}, score{}
	for k, s := range sums {
		t.Logf("%-22s true remarks %3d, stance right %3d, first proposal right %3d", k, s.n, s.right, s.first)
		all.n, all.right, all.first = all.n+s.n, all.right+s.right, all.first+s.first
	}
	for k, s := range lies {
		t.Logf("%-22s false remarks %3d, contradicted or not told %3d", k, s.n, s.right)
		lie.n, lie.right = lie.n+s.n, lie.right+s.right
	}
	t.Logf("all: true %d right %.1f %% first proposal %.1f %%; false %d right %.1f %%", all.n, pct(all.right, all.n), pct(all.first, all.n), lie.n, pct(lie.right, lie.n))
	if pct(all.right, all.n) < 95 || pct(lie.right, lie.n) < 95 || pct(all.first, all.n) < 90 {
		t.Errorf("stance right on %.1f %% of true and %.1f %% of false remarks (95 wanted), first proposal right on %.1f %% (90 wanted)", pct(all.right, all.n), pct(lie.right, lie.n), pct(all.first, all.n))
	}
}

// shows tells whether a planted cause did anything: a lower slip target where
// the rider never reaches it, or a blip before a turn without a downshift, is no
// cause of a remark.
func shows(x told, c demo.Cause) bool {
	kinds := map[demo.CauseKind]string{demo.StrongControl: "cut", demo.OverBlip: "blip", demo.WheelLift: "wheelie", demo.Hop: "hop"}
	timed := map[int]bool{}
	for _, l := range x.run.Truth.Laps {
		timed[l.Number] = l.Kind == demo.TimedLap
	}
	laps := map[int]float64{}
	if k, ok := kinds[c.Kind]; ok {
		for _, e := range x.run.Truth.Episodes {
			if timed[e.Lap] && e.Turn == c.Turn && e.Kind == k && (k != "blip" || e.Over) {
				laps[e.Lap] += e.End - e.Start
			}
		}
		n := 0
		for _, s := range laps {
			if k != "cut" && s > 0 || s > 0.25 {
				n++
			}
		}
		return n >= 5
	}
	if c.Kind == demo.WeakEngineBrake {
		for _, p := range x.run.Truth.Passes {
			if p.Turn == c.Turn && timed[p.Lap] && p.Gear == c.Gear && !math.IsNaN(p.BrakeOn) {
				laps[p.Lap] = 1
			}
		}
		return len(laps) >= 5
	}
	return true
}

func first(f Finding) string {
	if len(f.Proposals) == 0 {
		return "none"
	}
	return string(f.Proposals[0].Kind) + " " + f.Proposals[0].Title.String()
}

func pct(a, n int) float64 { return 100 * float64(a) / math.Max(1, float64(n)) }

// falseRemarks makes every planted cause's remark where nothing of the kind
// happened: the truth has no such episode at the turn on more than one timed
// lap.
func falseRemarks(t *testing.T, x told, lies map[Complaint]*score) {
	timed := map[int]bool{}
	for _, l := range x.run.Truth.Laps {
		timed[l.Number] = l.Kind == demo.TimedLap
	}
	happened := func(turn int, ok func(demo.Episode) bool) bool {
		laps := map[int]bool{}
		for _, e := range x.run.Truth.Episodes {
			if timed[e.Lap] && e.Turn == turn && ok(e) {
				laps[e.Lap] = true
			}
		}
		return len(laps) > 1
	}
	kind := func(s string) func(demo.Episode) bool { return func(e demo.Episode) bool { return e.Kind == s } }
	n := len(x.run.Truth.Turns)
	check := func(turn int, says Complaint, phase circuit.Phase) {
		s := lies[says]
		if s == nil {
			s = &score{}
			lies[says] = s
		}
		ours, ok := x.turn[turn]
		if !ok {
			return
		}
		f := Debrief(x.ride, x.bike, []Remark{{ID: 1, Turns: []int{ours}, Phase: phase, Says: says}}, x.sheet, "B", Options{Unasked: -1}).Findings[0]
		s.n++
		if f.Stance == Contradicts || f.Stance == CannotTell {
			s.right++
		} else {
			t.Logf("false %s at turn %d (ours %d), circuit %d seed %d: %s %s", says, turn, ours, x.run.Options.Circuit, x.run.Options.Seed, f.Stance, f.Text)
		}
	}
	for _, turn := range x.run.Truth.Turns {
		m := turn.Number
		before := (m+n-2)%n + 1
		if !happened(m, func(e demo.Episode) bool { return e.Kind == "cut" && e.End-e.Start > 0.2 && e.Mean > 0.08 }) {
			check(m, "held-back", circuit.PhasePickup)
		}
		if !happened(m, func(e demo.Episode) bool { return e.Kind == "blip" && (e.Over || e.Surplus > 450) }) {
			check(m, "pushes-on", circuit.PhaseEntry)
		}
		check(m, "wants-engine-braking", circuit.PhaseEntry)
		if !happened(m, kind("wheelie")) {
			check(m, "wheelies", circuit.PhaseDrive)
		}
		if !happened(m, kind("hop")) {
			check(m, "hops", circuit.PhaseBrake)
		}
		if !happened(m, kind("limiter")) && !happened(before, kind("limiter")) {
			check(m, "limiter-early", circuit.PhaseBrake)
		}
		cut := happened(m, func(e demo.Episode) bool { return e.Kind == "cut" && e.End-e.Start > 0.2 })
		if !cut {
			check(m, "lazy", circuit.PhaseDrive)
			check(m, "late-drive", "")
		}
		if !happened(m, kind("spin")) {
			check(m, "spins", circuit.PhasePickup)
		}
		check(m, "late-pick-up", circuit.PhasePickup)
		for _, says := range []Complaint{"rear-lifts", "front-lock", "head-shake", "weave", "surges", "missed-shift", "harsh-shift", "too-much-engine-braking", "snatchy-throttle", "chatters", "brake-instability", "dives"} {
			if says == "rear-lifts" && happened(m, kind("rear-lift")) || says == "front-lock" && happened(m, kind("lock")) {
				continue
			}
			check(m, says, "")
		}
	}
}
