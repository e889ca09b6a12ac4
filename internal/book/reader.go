package book

import (
	"errors"

	"cornerwright/internal/circuit"
	"cornerwright/internal/intake"
	"cornerwright/internal/recording"
)

// readFile reads bytes with a column map (nil for none). Where nothing can be
// used the error is one of the book's, with the place and the mend.
func readFile(name string, data []byte, mapName string, m []byte) (*intake.Result, error) {
	var opt intake.Options
	if len(m) > 0 {
		cm, err := intake.ParseColumnMap(mapName, m)
		if err != nil {
			return nil, fromIntake(err)
		}
		opt.Map = cm
	}
	res, err := intake.Read(name, data, opt)
	if err != nil {
		return res, fromIntake(err)
	}
	if len(res.Recordings) == 0 {
		return res, &Error{Kind: ErrInvalid, File: name, Text: "the file holds no recording", Mend: "give the file that the logger wrote"}
	}
	return res, nil
}

func fromIntake(err error) error {
	var e *intake.Error
	if errors.As(err, &e) {
		return &Error{Kind: ErrInvalid, File: e.File, Line: e.Line, Column: e.Column, Text: e.Text, Source: e.Source, Mend: e.Mend}
	}
	return &Error{Kind: ErrInvalid, Err: err}
}

// outingsOf cuts what a file holds into outings, in their order in the file; of
// tells which of the file's recordings each is a part of.
func outingsOf(res *intake.Result) (parts []*recording.Recording, of []int) {
	for i, rec := range res.Recordings {
		cut := circuit.SplitRuns(rec)
		if len(cut) == 0 {
			cut = []*recording.Recording{rec}
		}
		for _, p := range cut {
			parts, of = append(parts, p), append(of, i)
		}
	}
	return parts, of
}

// headOf is a short name for the columns of a file, under which a column map is
// remembered.
func headOf(res *intake.Result) string {
	s := res.Format
	for _, c := range res.Columns {
		s += "\x1f" + c.Cell
	}
	return s
}
