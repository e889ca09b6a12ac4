package signal

import "math"

// BandRMSInto writes to dst the running root mean square of x in the band lo..hi
// (1/s) over a window of width seconds: low-pass at hi less low-pass at lo,
// both zero-phase, squared and averaged. hi at or above half the rate leaves
// the band open above. tmp has the length of x; dst, tmp and x are distinct.
func BandRMSInto(dst, tmp, x []float64, lo, hi, width, rate float64, s *Scratch) {
	LowPassTwo(Series{dst, x, hi}, Series{tmp, x, lo}, rate, s)
	for i := range dst {
		d := dst[i] - tmp[i]
		tmp[i] = d * d
	}
	MovingMeanInto(dst, tmp, int(math.Round(width*rate/2)))
	for i := range dst {
		dst[i] = math.Sqrt(math.Max(dst[i], 0))
	}
}

// MovingMeanInto writes the mean of x over the samples i-half..i+half to dst
// (fewer at the ends). dst must not be x.
func MovingMeanInto(dst, x []float64, half int) {
	n := len(x)
	var sum float64
	lo, hi := 0, -1 // the window holds lo..hi
	for i := range dst {
		for hi < min(n-1, i+half) {
			hi++
			sum += x[hi]
		}
		for lo < i-half {
			sum -= x[lo]
			lo++
		}
		dst[i] = sum / float64(hi-lo+1)
	}
}
