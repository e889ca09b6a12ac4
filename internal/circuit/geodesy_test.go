package circuit

import (
	"math"
	"testing"
)

const deg = math.Pi / 180

// Values: EPSG guidance note 7-2 (second row), the CartConvert manual (third),
// PROJ 9.1.1 and GeographicLib 2.1.2 for the rest.
func TestECEF(t *testing.T) {
	for _, c := range [][6]float64{
		{43.9960, 11.3710, 285, 4505775.845105, 906150.719668, 4407969.855270},
		{53.809394444444, 2.12955, 73, 3771793.967642, 140253.341900, 5124304.349351},
		{33.3, 44.4, 6000, 3816209.604493, 3737108.550254, 3485109.572568},
		{52.07, -0.98, 150, 3928337.419467, -67197.726786, 5007713.149626},
		{-33.8, 150, 20, -4594825.978387, 2652824.015501, -3528044.610097},
		{90, 0, 0, 0, 0, 6356752.314245},
	} {
		x, y, z := ECEF(c[0]*deg, c[1]*deg, c[2])
		if math.Abs(x-c[3]) > 1e-6 || math.Abs(y-c[4]) > 1e-6 || math.Abs(z-c[5]) > 1e-6 {
			t.Errorf("ECEF(%v) = %.6f %.6f %.6f", c[:3], x, y, z)
		}
		la, lo, h := Geographic(x, y, z)
		if math.Abs(la/deg-c[0]) > 1e-11 || math.Abs(h-c[2]) > 1e-6 || c[0] != 90 && math.Abs(lo/deg-c[1]) > 1e-11 {
			t.Errorf("back of %v: %.12f %.12f %.7f", c[:3], la/deg, lo/deg, h)
		}
	}
}

// Values: PROJ 9.1.1 topocentric and CartConvert -l.
func TestENU(t *testing.T) {
	f := Frame{43.9960 * deg, 11.3710 * deg, 285}
	for _, c := range [][6]float64{
		{43.9960, 11.3711246, 285, 9.994808913, 0.000007549, -0.000007818},
		{43.9965, 11.3710, 285, 0, 55.558571509, -0.000242421},
		{43.9985, 11.3750, 300, 320.847921038, 277.801340179, 14.985882547},
		{44.0300, 11.4100, 350, 3126.635999307, 3778.771476351, 63.113520887},
	} {
		e, n, u := f.ENU(c[0]*deg, c[1]*deg, c[2])
		if math.Abs(e-c[3]) > 1e-6 || math.Abs(n-c[4]) > 1e-6 || math.Abs(u-c[5]) > 1e-6 {
			t.Errorf("ENU(%v) = %.9f %.9f %.9f", c[:3], e, n, u)
		}
		la, lo, h := f.Geographic(e, n, u)
		if math.Abs(la/deg-c[0]) > 1e-11 || math.Abs(lo/deg-c[1]) > 1e-11 || math.Abs(h-c[2]) > 1e-6 {
			t.Errorf("back of %v: %.12f %.12f %.6f", c[:3], la/deg, lo/deg, h)
		}
	}
}

// The quick plane must agree with the exact one over the size of a circuit.
func TestPlaneAgainstENU(t *testing.T) {
	for _, lat := range []float64{-34, 0.1, 44, 60} {
		f := Frame{lat * deg, 11 * deg, 285}
		p := newPlane(f)
		for _, d := range [][2]float64{{0.01, 0.01}, {-0.02, 0.03}, {0.03, -0.04}, {0.05, 0.1}} {
			x, y := p.at((lat+d[0])*deg, (11+d[1])*deg)
			e, n, _ := f.ENU((lat+d[0])*deg, (11+d[1])*deg, 285)
			if math.Hypot(x-e, y-n) > 0.02 {
				t.Errorf("lat %g, %v: plane %.4f %.4f, exact %.4f %.4f", lat, d, x, y, e, n)
			}
		}
	}
}
