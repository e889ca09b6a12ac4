package bike

import "math"

// AirDensity is the density of moist air in kg/m3 at pressure p (Pa),
// temperature t (K) and relative humidity rh (0..1), as a mixture of two ideal
// gases: (p - pv)/(Rd T) + pv/(Rv T), Rd 287.05, Rv 461.495 J/(kg K).
func AirDensity(p, t, rh float64) float64 {
	pv := rh * SaturationPressure(t)
	return (p-pv)/(287.05*t) + pv/(461.495*t)
}

// SaturationPressure of water in Pa at t (K): Tetens in Murray's form,
// 610.78 exp(17.2694 tc/(tc + 237.3)).
func SaturationPressure(t float64) float64 {
	c := t - 273.15
	return 610.78 * math.Pow(10, 7.5*c/(237.3+c))
}

// StandardAir gives pressure (Pa), temperature (K) and density (kg/m3) of the
// standard atmosphere of ISO 2533 at geopotential height h (m), below 11 km.
func StandardAir(h float64) (p, t, rho float64) {
	const lapse, r = 0.0065, 287.05287
	t = 288.15 - lapse*h
	p = 101325 * math.Pow(t/288.15, Gravity/(r*lapse))
	return p, t, p / (r * t)
}

// PowerFactor is the factor that brings power of a spark-ignition engine
// measured at dry pressure pd (Pa) and temperature t (K) to 99 kPa and 298 K:
// (99/pd)^1.2 (T/298)^0.6, with 273 for the ice point as the standard prints it
// (ISO 1585). Correct the power or the drag for the air of the day, never both
// twice.
func PowerFactor(pd, t float64) float64 {
	return math.Pow(99000/pd, 1.2) * math.Pow((t-0.15)/298, 0.6)
}
