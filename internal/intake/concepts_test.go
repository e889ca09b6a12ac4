package intake

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"cornerwright/internal/recording"
)

// Shortened and joined names as people write them (common practice), and names
// that only look like a channel's.
func TestNamesByMeaning(t *testing.T) {
	for name, want := range map[string]string{
		"Pressione freno ant.":          recording.FrontBrake,
		"Druck Bremse vo":               recording.FrontBrake,
		"Frein AR pression":             recording.RearBrake,
		"P freno post":                  recording.RearBrake,
		"Ruota ant.":                    recording.FrontSpeed,
		"Rueda tras. (vel)":             recording.RearSpeed,
		"Vit. roue AV":                  recording.FrontSpeed,
		"Giri ruota post":               recording.RearSpeed,
		"Direzione GPS":                 recording.GPSHeading,
		"Temp. H2O motore":              recording.Coolant,
		"Posizione farfalla":            recording.Throttle,
		"Corsa forcella":                recording.Fork,
		"Susp. post. corsa":             recording.Shock,
		"Acc. longit.":                  recording.AccelX,
		"Rapport moteur":                recording.Gear,
		"Front wheel target speed":      "",
		"Brake balance":                 "",
		"Pressione gomma ant.":          "",
		"Temperatura freno ant.":        "",
		"Oil pressure":                  "",
		"Pressione olio":                "",
		"Velocità massima ruota post.":  "",
		"Battery temp":                  "",
		"Suspension front rear balance": "",
	} {
		senses, _ := match(name)
		got := ""
		if len(senses) > 0 {
			got = senses[0].channel
		}
		if got != want {
			t.Errorf("%q is %q, want %q", name, got, want)
		}
	}
	if byMeaning([]string{"front", "rear", "wheel", "speed"}) != nil {
		t.Error("both wheels at once")
	}
}

// Turns of a wheel become a speed: 1000/min of 1.88 m are 31.33 m/s, 15 Hz of
// 1.98 m are 29.70 m/s.
func TestTurnsOfTheWheel(t *testing.T) {
	var b strings.Builder
	b.WriteString("Time [s],Latitude [deg],Longitude [deg],GPS speed [km/h],Front wheel [rpm],Rear wheel [Hz]\n")
	for i := range 400 {
		b.WriteString(strings.Join([]string{num(float64(i) / 100), "44.0", "7.0", "110", "1000", "15"}, ",") + "\n")
	}
	res, err := Read("turns.csv", []byte(b.String()), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]float64{recording.FrontSpeed: 1000. / 60 * 1.88, recording.RearSpeed: 15 * 1.98} {
		c := res.Recordings[0].Channel(name)
		if c == nil || math.Abs(c.Value[0]-want) > 1e-9 || !c.CountsTurns() {
			t.Errorf("%s: %+v, want %.3f m/s", name, c, want)
		}
	}
	found := 0
	for _, p := range res.Problems {
		if strings.Contains(fmt.Sprint(p.Text), "counts turns of the wheel") {
			found++
		}
	}
	if found != 2 {
		t.Errorf("told %d times", found)
	}
}
