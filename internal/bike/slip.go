package bike

import "math"

// Rolling is the rolling radius (m) of a tyre of upright radius r and crown
// radius c at a lean (rad): r - c (1 - cos(lean)), a torus that rolls on.
func Rolling(r, c, lean float64) float64 { return r - c*(1-math.Cos(lean)) }

// Slip is (omega r - v)/v: positive in drive, -1 locked (SAE J670 and ISO 8855
// call it longitudinal slip). NaN below 3 m/s, where speed is too small to
// divide by.
func Slip(omega, r, v float64) float64 {
	if v < 3 {
		return math.NaN()
	}
	return (omega*r - v) / v
}

// MarkedCircumference is the circumference in m that a tyre marking such as
// "120/70 ZR17" stands for: pi (rim + 2 width aspect), with the code 17 rim 17
// inches exactly. 0 if the marking is not of that form. Real tyres differ by
// some millimetres.
func MarkedCircumference(marking string) float64 {
	d := markedDiameter(marking)
	return math.Pi * d
}

func markedDiameter(marking string) float64 {
	var nums []float64
	cur, in := 0.0, false
	for _, r := range marking + " " {
		if r >= '0' && r <= '9' {
			cur, in = cur*10+float64(r-'0'), true
			continue
		}
		if in {
			nums = append(nums, cur)
		}
		cur, in = 0, false
	}
	if len(nums) < 3 || nums[0] < 60 || nums[0] > 300 || nums[1] < 30 || nums[1] > 100 || nums[2] < 8 || nums[2] > 23 {
		return 0
	}
	return nums[2]*0.0254 + 2*nums[0]/1000*nums[1]/100
}
