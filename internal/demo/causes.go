package demo

import "math"

// plantSheets puts the causes that live in the settings into the reference
// sheet: that is where a step must find and mend them.
func plantSheets(o *Options, c *Circuit, b *Bike) {
	for _, cause := range o.Causes {
		a, ok := b.Sheets["A"]
		if !ok {
			continue
		}
		for slot, sh := range b.Sheets {
			if _, given := o.Sheets[slot]; given && slot != "A" {
				continue // a sheet that was handed in is ridden as it is
			}
			_ = a
			switch cause.Kind {
			case StrongControl, LooseControl:
				d := cause.size(6)
				if cause.Kind == StrongControl {
					d = -cause.size(2.2)
				}
				shiftCells(sh, c, cause.Turn, d)
			case WeakEngineBrake:
				if l, ok := sh["engine-brake"].([]float64); ok && cause.Gear >= 1 && cause.Gear <= len(l) {
					l[cause.Gear-1] = math.Max(20, l[cause.Gear-1]-cause.size(30))
				}
			}
		}
	}
}

func (c Cause) size(usual float64) float64 {
	if c.Size != 0 {
		return c.Size
	}
	return usual
}

// shiftCells moves the slip-target cells that a turn's drive uses.
func shiftCells(sh Sheet, c *Circuit, turn int, d float64) {
	g, ok := sh["slip-target"].([][]float64)
	if !ok || turn < 1 || turn > len(c.Turns) {
		return
	}
	t := c.Turns[turn-1]
	v := 3.6 * math.Sqrt(t.lateral*t.Radius)
	for i, lean := range slipLeans {
		for j, speed := range slipSpeeds {
			if lean >= 30 && speed > v-35 && speed < v+60 {
				g[i][j] = math.Max(1, g[i][j]+d)
			}
		}
	}
}
