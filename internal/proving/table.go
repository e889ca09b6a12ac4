package proving

import (
	"bufio"
	"io"
	"math"
	"strconv"
)

// tableColumns are the columns of Table after the clock: decimals, centre, swing
// and noise in the printed unit. They are those of a well-equipped track bike.
var tableColumns = []struct {
	head                  string
	decimals              int
	centre, swing, period float64 // period in s
	noise                 float64
}{
	{"Latitude [deg]", 7, 38.5, 0.004, 95, 2e-7}, {"Longitude [deg]", 7, 34.5, 0.006, 95, 2e-7}, {"GPS speed [km/h]", 2, 150, 90, 19, 0.2},
	{"GPS heading [deg]", 2, 180, 170, 95, 0.3}, {"GPS height [m]", 1, 285, 8, 95, 0.2}, {"Front wheel speed [km/h]", 2, 150, 90, 19, 0.15},
	{"Rear wheel speed [km/h]", 2, 152, 91, 19, 0.25}, {"Engine speed [1/min]", 0, 9500, 3200, 7, 25}, {"Gear", 0, 3.5, 2.4, 23, 0},
	{"Twist grip [%]", 1, 50, 50, 11, 0.3}, {"Throttle plate [%]", 1, 48, 48, 11, 0.3}, {"Torque reduction [%]", 1, 6, 6, 5, 0.2},
	{"Front brake pressure [bar]", 2, 4, 4, 13, 0.03}, {"Rear brake pressure [bar]", 2, 1, 1, 13, 0.02}, {"Clutch switch", 0, 0.5, 0.5, 41, 0},
	{"Lean angle [deg]", 2, 0, 52, 17, 0.3}, {"Roll rate [deg/s]", 2, 0, 60, 6, 1.2}, {"Pitch rate [deg/s]", 2, 0, 20, 5, 1.2},
	{"Yaw rate [deg/s]", 2, 0, 40, 17, 0.8}, {"Longitudinal acceleration [g]", 3, 0, 1.1, 9, 0.02}, {"Lateral acceleration [g]", 3, 0, 0.2, 8, 0.02},
	{"Vertical acceleration [g]", 3, 1.2, 0.4, 4, 0.05}, {"Fork travel [mm]", 2, 60, 50, 6, 0.4}, {"Shock travel [mm]", 2, 25, 20, 6, 0.3},
	{"Bar switch", 0, 0, 0, 1, 0}, {"Coolant temperature [degC]", 1, 84, 3, 300, 0.1}, {"Air temperature [degC]", 1, 22, 1, 600, 0.1},
	{"Lambda", 3, 0.92, 0.06, 7, 0.004}, {"Oil pressure [bar]", 2, 5, 1, 7, 0.03}, {"Oil temperature [degC]", 1, 105, 6, 300, 0.1},
	{"Battery [V]", 2, 13.8, 0.3, 60, 0.02}, {"Front tyre pressure [bar]", 3, 2.35, 0.05, 400, 0.001}, {"Rear tyre pressure [bar]", 3, 1.85, 0.06, 400, 0.001},
}

// TableColumns is how many columns Table writes, its clock included.
var TableColumns = len(tableColumns) + 1

// Table writes a text table of rows at 100 1/s in the first columns of a list of
// 34: smooth signals with noise in the decimals that loggers print. It serves
// measurements of speed alone; nothing in it is a ride.
func Table(w io.Writer, rows, columns int) error {
	out := bufio.NewWriterSize(w, 1<<20)
	cols := tableColumns[:columns-1]
	out.WriteString("Time [s]")
	for _, c := range cols {
		out.WriteString("," + c.head)
	}
	out.WriteByte('\n')
	state := uint64(0x9e3779b97f4a7c15)
	var line []byte
	for i := range rows {
		line = strconv.AppendFloat(line[:0], float64(i)/100, 'f', 2, 64)
		for k, c := range cols {
			// A xorshift generator is enough for noise: the sum of four halves of
			// its words is nearly normal.
			state ^= state << 13
			state ^= state >> 7
			state ^= state << 17
			n := (float64(state&0xffff) + float64(state>>16&0xffff) + float64(state>>32&0xffff) + float64(state>>48)) / 65536
			v := c.centre + c.swing*math.Sin(2*math.Pi*float64(i)/100/c.period+float64(k)) + c.noise*(n-2)*1.73
			line = append(line, ',')
			line = strconv.AppendFloat(line, v, 'f', c.decimals, 64)
		}
		line = append(line, '\n')
		out.Write(line)
	}
	return out.Flush()
}
