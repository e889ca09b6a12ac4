package intake

import (
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"io"
)

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

// PrintProblem formats one problem of a file as Error does.
func PrintProblem(file string, p recording.Problem) string {
	return (&Error{File: file, Line: p.Line, Column: p.Column, Text: say.T("{severity}: {text}", string(p.Severity), p.Text), Mend: p.Mend}).Error()
}
