package book

import (
	"cornerwright/internal/intake"
	"cornerwright/internal/recording"
)

// Checked is what a file holds.
type Checked struct {
	Result    *intake.Result
	Recording *recording.Recording // the first; nil where there is none
}

// Check reads a file as Add would, without a book; nothing is stored. What
// could be read is returned in any case; the error says where and why the file
// cannot be used. mapName and m are a column map, m nil for none.
func Check(path, mapName string, m []byte) (Checked, error) {
	in, err := openInput(path, nil)
	if err != nil {
		return Checked{}, err
	}
	defer in.close()
	res, err := readFile(path, in, mapName, m, nil)
	out := Checked{Result: res}
	if res != nil && len(res.Recordings) > 0 {
		out.Recording = res.Recordings[0]
	}
	if err != nil {
		return out, err
	}
	return out, usable(out.Recording, path)
}
