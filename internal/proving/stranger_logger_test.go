package proving_test

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
)

// Two loggers for the same rides.

const (
	strangerLat, strangerLon = 44.25, 7.9
	strangerNorth            = 111130.0 // m a degree
	strangerMass             = 265.0
)

var strangerEast = 111412.84 * math.Cos(strangerLat*math.Pi/180)

// strangerFile writes cells, but for the columns whose names begin as without says.
func strangerFile(names, without []string) (file *bytes.Buffer, write func(cells []string, join, end string)) {
	file = &bytes.Buffer{}
	return file, func(cells []string, join, end string) {
		var kept []string
		for i, c := range cells {
			out := false
			for _, w := range without {
				out = out || strings.HasPrefix(names[i], w)
			}
			if !out {
				kept = append(kept, c)
			}
		}
		fmt.Fprint(file, strings.Join(kept, join), end)
	}
}

// english: 100 rows a second, commas, speeds in km/h by circumferences 2.1 % large and
// 1.6 % small, lean 50 ms late and turned round.
func (x *stranger) english(rows []strangerRow, r *rand.Rand, without []string) {
	names := []string{"Timestamp (s)", "GPS Latitude", "GPS Longitude", "GPS Speed (km/h)", "Front Wheel Speed (km/h)", "Rear Wheel Speed (km/h)", "Engine Speed (rpm)", "Gear", "Grip Position (%)", "Throttle Plate (%)", "Torque Reduction (%)", "Front Brake Pressure (bar)", "Lean Angle (deg)", "Yaw Rate (deg/s)", "Long Acceleration (g)"}
	file, write := strangerFile(names, without)
	write(names, ",", "\n")
	north, east := 1.2*r.NormFloat64(), 1.2*r.NormFloat64()
	for i, w := range rows {
		late := rows[max(0, i-int(x.delay/0.01+0.5))]
		la, lo, gs := "", "", ""
		if i%10 == 0 {
			north += -north*0.1/200 + 0.06*r.NormFloat64()
			east += -east*0.1/200 + 0.06*r.NormFloat64()
			la = fmt.Sprintf("%.7f", strangerLat+(late.y+north+0.4*r.NormFloat64())/strangerNorth)
			lo = fmt.Sprintf("%.7f", strangerLon+(late.x+east+0.4*r.NormFloat64())/strangerEast)
			gs = fmt.Sprintf("%.2f", (late.v+0.06*r.NormFloat64())*3.6)
		}
		yaw := w.yaw * 180 / math.Pi
		write([]string{fmt.Sprintf("%.2f", strangerStart+0.01*float64(i)), la, lo, gs,
			fmt.Sprintf("%.1f", w.front*x.circF/2/math.Pi*1.021*3.6*(1+0.0015*r.NormFloat64())), fmt.Sprintf("%.1f", w.rear*0.318*0.984*3.6*(1+0.0015*r.NormFloat64())),
			fmt.Sprintf("%.0f", w.rpm+15*r.NormFloat64()), fmt.Sprint(w.gear), fmt.Sprintf("%.1f", 100*w.grip), fmt.Sprintf("%.1f", 96*w.plate+2),
			fmt.Sprintf("%.1f", 100*w.cut), fmt.Sprintf("%.2f", w.brake/strangerMass*1.15+0.02*r.NormFloat64()),
			fmt.Sprintf("%.1f", -rows[max(0, i-5)].lean*180/math.Pi+1.1+0.2*r.NormFloat64()), fmt.Sprintf("%.2f", yaw+0.3*r.NormFloat64()), fmt.Sprintf("%.3f", w.ax/strangerG+0.02*r.NormFloat64())}, ",", "\n")
	}
	x.file = file.Bytes()
}

// italian: 50 rows a second, semicolons and decimal commas under a heading, grip and
// cut in whole per cent, the plate from 3.5 to 95.5 %, turns of the wheels in place of
// speeds with a pulse lost now and then, GPS five times a second and later, two columns
// of time, lean 3 % large and 90 ms late, words shortened.
func (x *stranger) italian(rows []strangerRow, r *rand.Rand, without []string) {
	names := []string{"Ora", "Tempo [s]", "Latitudine [°]", "Longitudine [°]", "Velocità GPS [km/h]", "Direzione GPS [°]", "Quota [m]", "Satelliti", "Ruota ant. [giri/min]", "Ruota post. [giri/min]", "Giri motore [giri/min]", "Marcia", "Acceleratore [%]", "Farfalla [%]", "Taglio coppia [%]", "Pressione freno ant. [bar]", "Angolo di piega [°]", "Velocità imbardata [°/s]", "Accelerazione longitudinale [m/s²]", "Temperatura acqua [°C]", "Mappa"}
	file, write := strangerFile(names, without)
	fmt.Fprint(file, "Registrazione del 12/05/2026\r\nPilota;Sconosciuto\r\n\r\n")
	write(names, ";", "\r\n")
	north, east := 1.5*r.NormFloat64(), 1.5*r.NormFloat64()
	const deg = 180 / math.Pi
	for i := 0; i < len(rows); i += 2 {
		w, late := rows[i], rows[max(0, i-int(x.delay/0.01+0.5))]
		fix := make([]string, 6)
		if i%20 == 0 {
			north += -north*0.2/150 + 0.1*r.NormFloat64()
			east += -east*0.2/150 + 0.1*r.NormFloat64()
			fix[0] = fmt.Sprintf("%.6f", strangerLat+(late.y+north+0.5*r.NormFloat64())/strangerNorth)
			fix[1] = fmt.Sprintf("%.6f", strangerLon+(late.x+east+0.5*r.NormFloat64())/strangerEast)
			fix[2] = fmt.Sprintf("%.1f", (late.v+0.06*r.NormFloat64())*3.6)
			fix[3] = fmt.Sprintf("%.1f", math.Mod(90-late.heading*deg+0.4*r.NormFloat64()+720, 360))
			fix[4], fix[5] = fmt.Sprintf("%.1f", 212+3*r.NormFloat64()), "11"
		}
		t := strangerStart + 0.01*float64(i)
		front := w.front * 30 / math.Pi
		if i%1710 == 0 {
			front = 0
		}
		cells := append([]string{fmt.Sprintf("14:%02d:%06.3f", 3+int(t/60), math.Mod(t, 60)), fmt.Sprintf("%.3f", t)}, fix...)
		cells = append(cells, fmt.Sprintf("%.0f", front), fmt.Sprintf("%.0f", w.rear*30/math.Pi), fmt.Sprintf("%.0f", w.rpm+25*r.NormFloat64()), fmt.Sprint(w.gear),
			fmt.Sprintf("%.0f", 100*w.grip), fmt.Sprintf("%.1f", 92*w.plate+3.5), fmt.Sprintf("%.0f", 100*w.cut), fmt.Sprintf("%.1f", math.Max(0, w.brake/strangerMass*1.4+0.05*r.NormFloat64())),
			fmt.Sprintf("%.1f", rows[max(0, i-9)].lean*deg*1.03-1.8+0.4*r.NormFloat64()), fmt.Sprintf("%.1f", w.yaw*deg+0.8*r.NormFloat64()+0.6), fmt.Sprintf("%.2f", w.ax+0.3*r.NormFloat64()-0.25), fmt.Sprintf("%.0f", 86-15*math.Exp(-t/200)), "A")
		for k := range cells {
			cells[k] = strings.ReplaceAll(cells[k], ".", ",")
		}
		write(cells, ";", "\r\n")
	}
	x.file = file.Bytes()
}
