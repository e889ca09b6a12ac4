package verdict

import (
	"fmt"
	"math"
	"sort"
	"strings"
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
		c = append(c, Condition{"other-slot", fmt.Sprintf("slot %s was ridden on %s in between; those laps are left out", s, count(other[s], "lap")), Weakens})
	}
	if unknown > 0 {
		c = append(c, Condition{"missing-slot", fmt.Sprintf("the slot of %s is not known; they are left out", count(unknown, "lap")), Notes})
	}
	var names []string
	for id := range oneSided {
		names = append(names, q.runName(id))
	}
	sort.Strings(names)
	if len(names) > 0 {
		c = append(c, Condition{"one-sided-run", strings.Join(names, ", ") + ": one slot only, left out so that slots are compared within runs", Notes})
	}
	switch l.design {
	case ThereAndBack:
		c = append(c, Condition{"design", "one return only: the range is wide because wear and setting look alike", Weakens})
	case OneSwitch:
		c = append(c, Condition{"design", "one switch only: wear, warm-up and setting cannot be told apart", Weakens})
	}
	if l.within() {
		for _, id := range l.runs {
			for _, r := range q.Runs {
				if r.ID == id && r.Wet {
					c = append(c, Condition{"rain", r.name() + " was wet: grip can change from lap to lap", Weakens})
				}
			}
		}
		if sets := q.tyresOf(l); len(sets) > 1 {
			c = append(c, Condition{"tyre-change", "tyres changed between runs (" + strings.Join(sets, ", ") + "): slots are compared within each run, on one set", Weakens})
		}
		return c
	}
	c = append(c, q.aliased(l, "tyre-change", "tyres", func(r Run) string { return r.Tyre })...)
	c = append(c, q.aliased(l, "another-change", "settings outside the step", func(r Run) string { return r.Settings })...)
	c = append(c, q.aliased(l, "day", "days", func(r Run) string { return r.Day })...)
	c = append(c, q.aliased(l, "rain", "track states", func(r Run) string {
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
func (q *Question) aliased(l *layout, kind, what string, of func(Run) string) []Condition {
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
	list := func(side int) string {
		if kind == "another-change" {
			return count(len(seen[side]), "set")
		}
		return strings.Join(sortedKeys(seen[side]), ", ")
	}
	switch {
	case distinct == 1:
		return nil
	case shared == 0 && (runs == 2 || distinct < runs):
		return []Condition{{kind, fmt.Sprintf("%s changed together with the setting: reference on %s, trial on %s", what, list(0), list(1)), Confounds}}
	}
	return []Condition{{kind, fmt.Sprintf("%s differ between runs: reference on %s, trial on %s", what, list(0), list(1)), Weakens}}
}

func (q *Question) runName(id int) string {
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
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
