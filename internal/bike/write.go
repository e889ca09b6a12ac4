package bike

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// TOML writes the bike as a bike file. Parse gives the same bike back (apart
// from Source: comments and order of the original are not kept).
func (b *Bike) TOML() []byte {
	var w strings.Builder
	text := func(k, v string) {
		if v != "" {
			fmt.Fprintf(&w, "%s = %s\n", k, say.Quote(v))
		}
	}
	num := func(k string, v float64) {
		if v != 0 {
			fmt.Fprintf(&w, "%s = %s\n", k, number(v))
		}
	}
	text("name", b.Name)
	if b.Mass != (Mass{}) {
		w.WriteString("\n[mass]\n")
		num("total_kg", b.Mass.Total)
		num("centre_height_m", b.Mass.CentreHeight)
		num("wheelbase_m", b.Mass.Wheelbase)
		num("centre_to_rear_m", b.Mass.CentreToRear)
	}
	for _, t := range []struct {
		name string
		Tyre
	}{{"front", b.Front}, {"rear", b.Rear}} {
		if t.Tyre == (Tyre{}) {
			continue
		}
		fmt.Fprintf(&w, "\n[tyre.%s]\n", t.name)
		text("marking", t.Marking)
		num("circumference_m", t.Circumference)
		num("crown_radius_m", t.CrownRadius)
		num("wheel_inertia_kgm2", t.Inertia)
	}
	if d := b.Drive; len(d.Gears) > 0 {
		w.WriteString("\n[drive]\n")
		num("primary", d.Primary)
		fmt.Fprintf(&w, "gears = %s\n", list(d.Gears))
		num("front_sprocket", float64(d.FrontSprocket))
		num("rear_sprocket", float64(d.RearSprocket))
		num("limiter_rpm", d.LimiterRPM)
		num("engine_inertia_kgm2", d.EngineInertia)
	}
	if b.Air != (Air{}) {
		w.WriteString("\n[air]\n")
		num("drag_area_m2", b.Air.DragArea)
		num("rolling_coefficient", b.Air.RollingCoefficient)
		num("density_kgm3", b.Air.Density)
	}
	if b.Travel != (Travel{}) {
		w.WriteString("\n[suspension]\n")
		num("fork_travel_m", b.Travel.Fork)
		num("shock_travel_m", b.Travel.Shock)
	}
	if b.Antenna != 0 {
		w.WriteString("\n[gps]\n")
		num("antenna_height_m", b.Antenna)
	}
	if b.Limits != (Limits{}) {
		w.WriteString("\n[limits]\n")
		num("pit_speed_kmh", round9(b.Limits.PitSpeed*3.6))
		if v := b.Limits.CoolantWarning; v != 0 {
			num("coolant_warning_degc", round9(v-273.15))
		}
		if v := b.Limits.CoolantAlarm; v != 0 {
			num("coolant_alarm_degc", round9(v-273.15))
		}
	}
	if b.Slots != (Slots{}) {
		w.WriteString("\n[slots]\n")
		text("reference", b.Slots.Reference)
		text("trial", b.Slots.Trial)
	}
	var slots []string
	for s := range b.First {
		slots = append(slots, s)
	}
	slices.Sort(slots)
	for _, s := range b.Settings {
		w.WriteString("\n[[setting]]\n")
		text("id", s.ID)
		fmt.Fprintf(&w, "unit = %s\n", say.Quote(s.Unit))
		if s.Kind == setting.Grid {
			fmt.Fprintf(&w, "rows = %s\ncolumns = %s\n", axis(s.Rows), axis(s.Columns))
		}
		text("by", s.By)
		fmt.Fprintf(&w, "range = %s\n", list(s.Range[:]))
		num("largest_step", s.LargestStep)
		fmt.Fprintf(&w, "more = %s\n", say.Quote(s.More))
		if s.Acts != s.ID {
			text("acts", s.Acts)
		}
		w.WriteString("[setting.values]\n")
		for _, slot := range slots {
			v, ok := b.First[slot][s.ID]
			if !ok {
				continue
			}
			switch s.Kind {
			case setting.Scalar:
				fmt.Fprintf(&w, "%s = %s\n", slot, number(v[0][0]))
			case setting.List:
				fmt.Fprintf(&w, "%s = %s\n", slot, list(v[0]))
			default:
				fmt.Fprintf(&w, "%s = [\n", slot)
				for _, r := range v {
					fmt.Fprintf(&w, "  %s,\n", list(r))
				}
				w.WriteString("]\n")
			}
		}
	}
	return []byte(w.String())
}

func axis(a setting.Axis) string {
	unit := ""
	if a.Unit != "" {
		unit = ", unit = " + say.Quote(a.Unit)
	}
	return fmt.Sprintf("{ channel = %s%s, points = %s }", say.Quote(a.Channel), unit, list(a.Points))
}

func list(v []float64) string {
	s := make([]string, len(v))
	for i, x := range v {
		s[i] = number(x)
	}
	return "[" + strings.Join(s, ", ") + "]"
}

// round9 takes away what unit conversion adds in the last bits.
func round9(v float64) float64 {
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
	return r
}
