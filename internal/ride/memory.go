package ride

// memory lends series and masks of the grid's length: fresh memory is the
// dearest part of walking over a long recording.
type memory struct {
	n      int
	series [][]float64
	masks  [][]bool
}

// take lends a series that holds what its last user left.
func (m *memory) take() []float64 {
	if k := len(m.series); k > 0 {
		x := m.series[k-1]
		m.series = m.series[:k-1]
		return x
	}
	return make([]float64, m.n)
}

// zeros lends a series of zeros.
func (m *memory) zeros() []float64 {
	x := m.take()
	clear(x)
	return x
}

// mask lends a mask, all false.
func (m *memory) mask() []bool {
	if k := len(m.masks); k > 0 {
		x := m.masks[k-1]
		m.masks = m.masks[:k-1]
		clear(x)
		return x
	}
	return make([]bool, m.n)
}

// back takes series back that nobody reads any more; put does it for masks.
func (m *memory) back(xs ...[]float64) { m.series = append(m.series, xs...) }

func (m *memory) put(xs ...[]bool) { m.masks = append(m.masks, xs...) }
