package recording

import "cornerwright/internal/unit"

// turn is the circumference in m of the tyres that most machines on a circuit
// have, 120/70 and 190/55 ZR 17 (common practice).
var turn = map[string]float64{FrontSpeed: 1.88, RearSpeed: 1.98}

// Turn gives the metres a turn by which a wheel speed that is logged as turns of
// the wheel is brought to m/s; 0 for channels that are no wheel's.
func Turn(channel string) float64 { return turn[channel] }

// CountsTurns tells whether the file counts turns of the wheel (1/min, Hz, rad/s)
// where the channel is a speed, so that Value rests on Turn.
func (c *Channel) CountsTurns() bool {
	if turn[c.Name] == 0 {
		return false
	}
	u, err := unit.Parse(c.SourceUnit)
	return err == nil && (u.Quantity == unit.AngularRate || u.Quantity == unit.Frequency)
}
