package intake

import (
	"fmt"
	"math"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/unit"
)

// degrees settles how latitude or longitude is written: degrees, 1e-7 degrees,
// radians where stated, or the ddmm.mmmm of NMEA.
func (s *source) degrees(c *column, u *unit.Unit, ch string) {
	limit := 90.0
	if ch == recording.Longitude {
		limit = 180
	}
	m := math.Max(math.Abs(quantile(c.values, 0.01)), math.Abs(quantile(c.values, 0.99)))
	if u.Symbol == "rad" {
		if m <= math.Pi*limit/180 {
			return
		}
		*u = unit.Must("deg")
	}
	if u.Symbol != "°" || m <= limit {
		// ddmm.mmmm of a place near the equator or Greenwich may look like
		// degrees; columns are told apart by their partner in nmeaPair.
		return
	}
	if m > 1e6 {
		*u = unit.Must("1e-7°")
		s.problem(recording.Note, s.headerLine, c.Index, ch, say.T("column {header} is in units of 1e-7 degrees", fmt.Sprintf("%q", c.Header)), say.T("nothing to do"))
		return
	}
	if nmeaLike(c.values) {
		for i, v := range c.values {
			c.values[i] = nmeaDegrees(v)
		}
		c.decimals, c.minutes = -1, true
		s.problem(recording.Note, s.headerLine, c.Index, ch, say.T("column {header} is in degrees and minutes (ddmm.mmmm)", fmt.Sprintf("%q", c.Header)), say.T("nothing to do"))
	}
}

// nmeaPair turns the partner of a ddmm.mmmm column too, whose values may be
// small enough to pass for degrees.
func (s *source) nmeaPair() {
	find := func(ch string) *column {
		for _, c := range s.cols {
			if c.info.Channel == ch {
				return c
			}
		}
		return nil
	}
	a, b := find(recording.Latitude), find(recording.Longitude)
	if a == nil || b == nil || a.minutes == b.minutes {
		return
	}
	if a.minutes {
		a, b = b, a
	}
	// b was converted, a was not.
	if b.Kind == a.Kind && a.info.Unit == "°" && nmeaLike(a.values) && math.Abs(quantile(a.values, 0.5)) > 1 {
		for i, v := range a.values {
			a.values[i] = nmeaDegrees(v)
		}
		a.decimals, a.minutes = -1, true
	}
}

// nmeaLike tells whether all values have minutes below 60 and a fraction.
func nmeaLike(v []float64) bool {
	if len(v) == 0 {
		return false
	}
	for i := 0; i < len(v); i += 1 + len(v)/5000 {
		if x := math.Abs(v[i]); math.Mod(x, 100) >= 60 || x > 18000 {
			return false
		}
	}
	return true
}

// nmeaDegrees turns ddmm.mmmm to degrees.
func nmeaDegrees(v float64) float64 {
	d := math.Trunc(v / 100)
	return d + (v-d*100)/60
}
