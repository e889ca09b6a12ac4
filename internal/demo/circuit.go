package demo

// Circuit is a closed reference line made of straights, clothoids and arcs,
// s in metres from the gate in riding direction.
type Circuit struct {
	Name      string
	Length    float64 // m
	Clockwise bool
	Latitude  float64 // deg, of the plane's origin
	Longitude float64 // deg
	Turns     []Turn

	*geometry
}
