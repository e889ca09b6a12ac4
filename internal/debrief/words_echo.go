package debrief

import (
	"strconv"
	"strings"

	"cornerwright/internal/circuit"
)

// PhaseWords are the phases as people say them.
var PhaseWords = map[circuit.Phase]string{
	circuit.PhaseBrake: "on the brakes", circuit.PhaseEntry: "turning in", circuit.PhaseMid: "in the middle",
	circuit.PhasePickup: "picking up the throttle", circuit.PhaseDrive: "on the drive out",
}

var leanWords = map[string]string{"full": "at full lean", "picking-up": "while picking the bike up", "upright": "upright"}

var strengthWords = map[int]string{1: "a little", 2: "clearly", 3: "badly"}

func echo(remarks []Remark, turns []circuit.Turn) string {
	var all []string
	for _, r := range remarks {
		s := TurnWords(r.Turns, turns)
		if w := PhaseWords[r.Phase]; w != "" {
			s += ", " + w
		}
		s += ": " + strings.ReplaceAll(string(r.Says), "-", " ")
		if w := Lookup(r.Says); w != nil {
			s += " (" + w.Means + ")"
		}
		if w := leanWords[r.Lean]; w != "" {
			s += ", " + w
		}
		if w := strengthWords[r.Strength]; w != "" {
			s += ", " + w
		}
		all = append(all, s)
	}
	return strings.Join(all, "; ")
}

// TurnWords names turns: "turn 4", "turns 4 and 5 (Mill)", "the whole lap".
func TurnWords(numbers []int, turns []circuit.Turn) string {
	if len(numbers) == 0 {
		return "the whole lap"
	}
	t := make([]string, len(numbers))
	for i, n := range numbers {
		t[i] = strconv.Itoa(n)
		for _, x := range turns {
			if x.Number == n && x.Name != "" {
				t[i] += " (" + x.Name + ")"
			}
		}
	}
	word := "turn "
	if len(t) > 1 {
		word = "turns "
	}
	if len(t) == 1 {
		return word + t[0]
	}
	return word + strings.Join(t[:len(t)-1], ", ") + " and " + t[len(t)-1]
}
