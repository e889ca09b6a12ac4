// Package bike reads the bike file and does its mechanics: lean, rolling
// radius, slip, gear and wheel force.
package bike

import (
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// Bike is one machine as its file describes it. SI inside.
type Bike struct {
	Name     string
	Mass     Mass
	Front    Tyre
	Rear     Tyre
	Drive    Drive
	Air      Air
	Travel   Travel
	Limits   Limits
	Antenna  float64 // m, height of the GPS antenna above the road; 0 = not given
	Slots    Slots
	Settings []setting.Setting
	// First holds the values the file came with: slot -> setting -> values.
	First  map[string]map[string]setting.Values
	Source []byte // the file itself
}

// Mass of bike, fuel and rider, and where it sits. Zero means not given.
type Mass struct {
	Total, CentreHeight, Wheelbase, CentreToRear float64 // kg, m
}

// Tyre as the file gives it. Zero means not given.
type Tyre struct {
	Marking       string
	Circumference float64 // m, what the wheel-speed channel was logged with
	CrownRadius   float64 // m
	Inertia       float64 // kg m2 of wheel, disc and tyre; 0 = default
}

// Drive line. Ratios as driven teeth over driving teeth.
type Drive struct {
	Primary       float64
	Gears         []float64
	FrontSprocket int
	RearSprocket  int
	LimiterRPM    float64 // 1/min
	EngineInertia float64 // kg m2 at the crank; 0 = default
}

// Total returns engine turns per rear wheel turn in a gear (1..n), 0 if unknown.
func (d Drive) Total(gear int) float64 {
	if gear < 1 || gear > len(d.Gears) || d.FrontSprocket == 0 {
		return 0
	}
	return d.Primary * d.Gears[gear-1] * float64(d.RearSprocket) / float64(d.FrontSprocket)
}

// Air and rolling resistance.
type Air struct {
	DragArea           float64 // m2, drag coefficient times area
	RollingCoefficient float64
	Density            float64 // kg/m3, 0 = default
}

// Travel of the suspension from full extension to its end. Zero means not given.
type Travel struct{ Fork, Shock float64 } // m

// Limits the run is watched against. Zero means not given.
type Limits struct {
	PitSpeed       float64 // m/s
	CoolantWarning float64 // K
	CoolantAlarm   float64 // K
}

// Slots of the bar switch.
type Slots struct{ Reference, Trial string }

// Setting returns the setting with an id, nil if there is none.
func (b *Bike) Setting(id string) *setting.Setting {
	for i := range b.Settings {
		if b.Settings[i].ID == id {
			return &b.Settings[i]
		}
	}
	return nil
}

// TyreFit is what a run says about one tyre.
type TyreFit struct {
	Circumference   float64 // m, upright, free rolling, no load of drive
	CircumferenceSE float64
	Crown           float64 // m, crown radius
	CrownSE         float64
	Identified      bool
	Why             say.Text // where not identified: reason; the values are then the file's
}

// Tyres is the answer of identification over one run.
type Tyres struct {
	Front, Rear TyreFit
	Samples     int
	LeanBins    []LeanBin // samples by lean, for the card
	Drift       float64   // relative change of rear circumference from first to last third, with
	DriftSE     float64
	Notes       []string
}

// LeanBin counts samples and mean slip before and after correction in a bin of lean.
type LeanBin struct {
	From, To      float64 // rad, signed
	N             int
	Before, After float64 // slip, 1
}

// LeanReport tells where the lean signal came from and how far it was mended.
type LeanReport struct {
	Source   string  // "lean channel", "gyros and path", "path alone", "none"
	Offset   float64 // rad removed from the channel
	OffsetSE float64
	Scale    float64 // channel against path, 1 = agrees; not applied unless told
	ScaleSE  float64
	Delay    float64 // s removed
	Flipped  bool    // sign was turned round
	SE       float64 // rad, standard error of the result
	Notes    []string
}
