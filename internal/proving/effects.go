package proving

import (
	"math"
	"slices"

	"cornerwright/internal/demo"
)

// Window is one pass through a turn as an analysis cut it, in seconds of the
// recording.
type Window struct {
	Turn int
	Span
}

// EffectsIn gives the true gain or loss (s) of slot B over slot A between the very
// places where the windows of each turn begin and end, in the middle over the
// laps. An effect is carried on down the straight: cut at another place it is
// another effect, so that the truth of one cut cannot judge the estimate of
// another.
func EffectsIn(run *demo.Run, windows []Window) map[int]float64 {
	tr := &run.Truth
	at := map[int]*[2][]float64{}
	for _, w := range windows {
		from, to := tr.PlaceAt(w.From), tr.PlaceAt(w.To)
		lap := math.Floor(from / tr.Length)
		if at[w.Turn] == nil {
			at[w.Turn] = &[2][]float64{}
		}
		at[w.Turn][0] = append(at[w.Turn][0], from-lap*tr.Length)
		at[w.Turn][1] = append(at[w.Turn][1], to-lap*tr.Length)
	}
	var turns []int
	var places [][2]float64
	for n, x := range at {
		slices.Sort(x[0])
		slices.Sort(x[1])
		turns = append(turns, n)
		places = append(places, [2]float64{x[0][len(x[0])/2], x[1][len(x[1])/2]})
	}
	out := map[int]float64{}
	for k, x := range run.EffectsBetween(places) {
		out[turns[k]] = x
	}
	return out
}
