package circuit

// Plain takes all GPS error for white and the rider for one who never leaves the
// line: what a smoother of distance alone does.
func Plain() Options {
	q := defaultNoise()
	q.slow, q.slowStart, q.offset = 1e-3, 1e-3, 1e-3
	return Options{noise: &q}
}

// Knowing gives the smoother the true spreads of white and slow GPS error and of
// the rider (m, forgotten over s): its own standard error is then the bound that no smoother of these
// data beats.
func Knowing(white, slow, tau, offset, forget float64) Options {
	q := defaultNoise()
	q.white, q.slow, q.tau, q.offset, q.forget = white, slow, tau, offset, forget
	return Options{noise: &q}
}
