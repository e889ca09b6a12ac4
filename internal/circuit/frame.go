package circuit

// Frame is a local east-north-up plane on WGS 84.
type Frame struct {
	Lat, Lon float64 // rad, origin
	Height   float64 // m above the ellipsoid
}
