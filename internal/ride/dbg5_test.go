package ride

import (
	"testing"

	"cornerwright/internal/demo"
)

func TestDbgGear(t *testing.T) {
	o := demo.DefaultOptions(0, 101)
	o.Causes = []demo.Cause{{Kind: demo.OverBlip, Turn: 1, Size: 900}, {Kind: demo.OverBlip, Turn: 4, Size: 1800}}
	o.Drop = []string{"gear"}
	s := analysed(t, o)
	tr := &s.run.Truth
	p := s.ride.Position
	n := 0
	for i := 0; i < len(p.Time) && n < 25; i++ {
		k, ok := s.at(p.Time[i])
		if !ok || !s.onLaps(p.Time[i]) || int(s.ride.Signals.Gear[i]) == tr.Gear[k] || tr.Clutch[k] > 0.5 {
			continue
		}
		j := i
		for j < len(p.Time) {
			k, _ := s.at(p.Time[j])
			if int(s.ride.Signals.Gear[j]) == tr.Gear[k] {
				break
			}
			j++
		}
		t.Logf("%.2f..%.2f ours %d true %d clutch %.1f v %.1f rpm %.0f", p.Time[i], p.Time[j], s.ride.Signals.Gear[i], tr.Gear[k], tr.Clutch[k], tr.Speed[k], tr.RPM[k])
		n++
		i = j
	}
}
