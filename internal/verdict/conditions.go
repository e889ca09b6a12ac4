package verdict

import (
	"maps"
	"math"
	"slices"
	"sort"
	"strings"

	"cornerwright/internal/say"
)

// derive finds the conditions that laps and runs show by themselves.
func (q *Question) derive(l *layout, laps []Lap) (c []Condition) {
	other, unknown := map[string]int{}, 0
	oneSided := map[int]bool{}
	for _, p := range laps {
		if math.IsNaN(p.Value) {
			continue
		}
		_, in := l.runAt[p.Run]
		switch {
		case p.Slot == "" && in:
			unknown++
		case q.sideOf(p.Slot) == sideNone && in:
			other[p.Slot]++
		case q.sideOf(p.Slot) != sideNone && !in && p.Mark == "":
			oneSided[p.Run] = true
		}
	}
	for _, s := range sortedKeys(other) {
		c = append(c, Condition{"other-slot", say.T("slot {n} was ridden on {laps} in between; those laps are left out", s, count(other[s], "lap")), Weakens})
	}
	if unknown > 0 {
		c = append(c, Condition{"missing-slot", say.T("the slot of {laps} is not known; they are left out", count(unknown, "lap")), Notes})
	}
	var names []say.Text
	for _, id := range slices.Sorted(maps.Keys(oneSided)) {
		names = append(names, q.runName(id))
	}
	if len(names) > 0 {
		c = append(c, Condition{"one-sided-run", say.T("{runs}: one slot only, left out so that slots are compared within runs", say.Join(names, ", ")), Notes})
	}
	switch l.design {
	case ThereAndBack:
		c = append(c, Condition{"design", say.T("one return only: the range is wide because wear and setting look alike"), Weakens})
	case Interleaved:
		if l.returns == 2 {
			c = append(c, Condition{"design", say.T("two returns only: a step of grip that falls on a switch looks like the setting; A B B A A B B A tells more from as many laps"), Weakens})
		}
	case OneSwitch:
		c = append(c, Condition{"design", say.T("one switch only: wear, warm-up and setting cannot be told apart"), Weakens})
	}
	if l.within() {
		for _, id := range l.runs {
			for _, r := range q.Runs {
				if r.ID == id && r.Wet {
					c = append(c, Condition{"rain", say.T("{run} was wet: grip can change from lap to lap", r.name()), Weakens})
				}
			}
		}
		if sets := q.tyresOf(l); len(sets) > 1 {
			c = append(c, Condition{"tyre-change", say.T("tyres changed between runs ({sets}): slots are compared within each run, on one set", strings.Join(sets, ", ")), Weakens})
		}
		return c
	}
	c = append(c, q.aliased(l, "tyre-change", say.T("tyres"), func(r Run) string { return r.Tyre })...)
	c = append(c, q.aliased(l, "another-change", say.T("settings outside the step"), func(r Run) string { return r.Settings })...)
	c = append(c, q.aliased(l, "day", say.T("days"), func(r Run) string { return r.Day })...)
	c = append(c, q.aliased(l, "rain", say.T("track states"), func(r Run) string {
		if r.Wet {
			return "wet"
		}
		return "dry"
	})...)
	return c
}

// tyresOf names the tyre sets of the runs that take part, in order of time.
func (q *Question) tyresOf(l *layout) (sets []string) {
	for _, id := range l.runs {
		for _, r := range q.Runs {
			if r.ID == id {
				sets = addName(sets, r.Tyre)
			}
		}
	}
	return sets
}

// aliased tells whether something else differs between the runs of the two
// sides: together with the setting (confounded), or only here and there.
func (q *Question) aliased(l *layout, kind string, what say.Text, of func(Run) string) []Condition {
	seen := [2]map[string]int{{}, {}}
	runs := 0
	for i, id := range l.runs {
		for _, r := range q.Runs {
			if r.ID == id && of(r) != "" {
				seen[l.runSide[i]][of(r)]++
				runs++
			}
		}
	}
	if len(seen[0]) == 0 || len(seen[1]) == 0 {
		return nil
	}
	shared, distinct := 0, len(seen[1])
	for v := range seen[0] {
		if seen[1][v] > 0 {
			shared++
		} else {
			distinct++
		}
	}
	list := func(side int) say.Text {
		if kind == "another-change" {
			return count(len(seen[side]), "set")
		}
		return say.Plain(strings.Join(sortedKeys(seen[side]), ", "))
	}
	switch {
	case distinct == 1:
		return nil
	case shared == 0 && (runs == 2 || distinct < runs):
		return []Condition{{kind, say.T("{what} changed together with the setting: reference on {list}, trial on {list2}", what, list(0), list(1)), Confounds}}
	}
	return []Condition{{kind, say.T("{what} differ between runs: reference on {list}, trial on {list2}", what, list(0), list(1)), Weakens}}
}

func (q *Question) runName(id int) say.Text {
	for _, r := range q.Runs {
		if r.ID == id {
			return r.name()
		}
	}
	return Run{ID: id}.name()
}

func sortedKeys(m map[string]int) []string {
	var k []string
	for s := range m {
		k = append(k, s)
	}
	sort.Strings(k)
	return k
}

// count writes a number with its noun: "1 lap", "3 laps".
func count(n int, noun string) say.Text {
	switch noun {
	case "lap":
		return say.T("{n} {n|lap|laps}", n)
	case "clean lap":
		return say.T("{n} clean {n|lap|laps}", n)
	case "more lap":
		return say.T("{n} more {n|lap|laps}", n)
	case "reference lap":
		return say.T("{n} reference {n|lap|laps}", n)
	case "trial lap":
		return say.T("{n} trial {n|lap|laps}", n)
	case "usable lap":
		return say.T("{n} usable {n|lap|laps}", n)
	case "run":
		return say.T("{n} {n|run|runs}", n)
	case "more run":
		return say.T("{n} more {n|run|runs}", n)
	case "set":
		return say.T("{n} {n|set|sets}", n)
	case "rehearsed change":
		return say.T("{n} rehearsed {n|change|changes}", n)
	}
	panic("verdict: no plural of " + noun)
}
