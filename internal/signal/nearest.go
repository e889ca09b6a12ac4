package signal

import "math"

// Nearest is math.RoundToEven but for the sign of nil. Below 2^51 the nearest whole
// number comes of adding and taking off so large a number that nothing behind the
// point has room beside it: several times faster in a loop than the instruction
// for it, which waits for the result of the turn before. A product must be handed
// over as float64(x * y), or it may be rounded once less.
func Nearest(x float64) float64 {
	const large = 3 << 51 // 1.5 times 2^52
	if x > -1<<51 && x < 1<<51 {
		return x + large - large
	}
	return math.RoundToEven(x)
}
