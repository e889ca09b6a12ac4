package verdict

import "testing"

func TestPlanPrints(t *testing.T) {
	p, err := MakePlan(Wish{Turn: 5, Measure: "segment", Unit: "s", Effect: 0.08, LapSD: 0.05, LapTime: 95, Minutes: 30})
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range p.Lines {
		t.Log(l)
	}
	t.Logf("%+v", p.Options)
}

func BenchmarkMethod12(b *testing.B) {
	w := Wish{MaxLaps: 24, WarmLaps: 2, Block: 1}
	_, l, m, _ := w.lay(w.orderFor(6))
	b.ReportAllocs()
	for b.Loop() {
		m.thresholds(l.guards(), 0.08, 100)
	}
}

func BenchmarkPlan(b *testing.B) {
	for b.Loop() {
		if _, err := MakePlan(Wish{Turn: 5, Measure: "segment", Unit: "s", Effect: 0.08, LapSD: 0.05, LapTime: 95, Minutes: 30}); err != nil {
			b.Fatal(err)
		}
	}
}
