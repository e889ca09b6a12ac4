package intake

import "io"

// Columns reads a text table to float64 columns, as the reader does before
// anything is interpreted, and returns how many values it read.
func Columns(name string, r io.ReaderAt, size int64, opts Options) (values int, err error) {
	text, _, err := openText(name, r, size)
	if err != nil {
		return 0, err
	}
	opts.sized = true
	s, err := readText(name, text, size, opts)
	if err != nil {
		return 0, err
	}
	for _, c := range s.cols {
		values += len(c.values)
	}
	return values, nil
}
