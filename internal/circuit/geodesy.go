package circuit

import "math"

// WGS 84: semi-major axis (m) and flattening, exact by definition.
const (
	semiMajor  = 6378137.0
	flattening = 1 / 298.257223563
	ecc2       = flattening * (2 - flattening)
)

// ECEF converts latitude, longitude (rad) and ellipsoidal height (m) to
// earth-centred, earth-fixed metres (EPSG guidance note 7-2, method 9602).
func ECEF(lat, lon, h float64) (x, y, z float64) {
	sl, cl := math.Sincos(lat)
	so, co := math.Sincos(lon)
	n := semiMajor / math.Sqrt(1-ecc2*sl*sl)
	return (n + h) * cl * co, (n + h) * cl * so, (n*(1-ecc2) + h) * sl
}

// Geographic is the inverse of ECEF, by Bowring's start and fixed-point steps
// to the last digit.
func Geographic(x, y, z float64) (lat, lon, h float64) {
	p := math.Hypot(x, y)
	lon = math.Atan2(y, x)
	if p < 1e-9 {
		lat = math.Copysign(math.Pi/2, z)
		return lat, 0, math.Abs(z) - semiMajor*math.Sqrt(1-ecc2)
	}
	b := semiMajor * (1 - flattening)
	t := math.Atan2(z*semiMajor, p*b)
	st, ct := math.Sincos(t)
	lat = math.Atan2(z+ecc2/(1-ecc2)*b*st*st*st, p-ecc2*semiMajor*ct*ct*ct)
	for range 4 {
		sl := math.Sin(lat)
		n := semiMajor / math.Sqrt(1-ecc2*sl*sl)
		lat = math.Atan2(z+ecc2*n*sl, p)
	}
	sl, cl := math.Sincos(lat)
	n := semiMajor / math.Sqrt(1-ecc2*sl*sl)
	if math.Abs(cl) > 1e-3 {
		h = p/cl - n
	} else {
		h = z/sl - n*(1-ecc2)
	}
	return lat, lon, h
}

// ENU converts a geographic position to metres east, north and up of the
// frame's origin (EPSG method 9837).
func (f Frame) ENU(lat, lon, h float64) (e, n, u float64) {
	x0, y0, z0 := ECEF(f.Lat, f.Lon, f.Height)
	x, y, z := ECEF(lat, lon, h)
	dx, dy, dz := x-x0, y-y0, z-z0
	sl, cl := math.Sincos(f.Lat)
	so, co := math.Sincos(f.Lon)
	e = -so*dx + co*dy
	n = -sl*co*dx - sl*so*dy + cl*dz
	u = cl*co*dx + cl*so*dy + sl*dz
	return
}

// Geographic is the inverse of ENU.
func (f Frame) Geographic(e, n, u float64) (lat, lon, h float64) {
	x0, y0, z0 := ECEF(f.Lat, f.Lon, f.Height)
	sl, cl := math.Sincos(f.Lat)
	so, co := math.Sincos(f.Lon)
	x := x0 - so*e - sl*co*n + cl*co*u
	y := y0 + co*e - sl*so*n + cl*so*u
	z := z0 + cl*n + sl*u
	return Geographic(x, y, z)
}

// LatLon gives the geographic position (rad) of a point of the plane, at the
// frame's height.
func (f Frame) LatLon(x, y float64) (lat, lon float64) {
	// The plane touches the ellipsoid at the origin: at 3 km it floats 0.7 m
	// above it, which moves nothing horizontally worth a micrometre.
	lat, lon, _ = f.Geographic(x, y, 0)
	return
}

func wrapPi(a float64) float64 {
	return a - 2*math.Pi*math.Round(a/(2*math.Pi))
}

func sq(x float64) float64 { return x * x }
