package book

import (
	"path/filepath"

	"cornerwright/internal/recording"
)

// Check reads a file as Add would, without a book; nothing is stored. The
// recording is returned as far as it could be read; the error says where the
// file cannot be used. mapName and m are a column map, m nil for none.
func Check(path, mapName string, m []byte) (*recording.Recording, error) {
	data, err := readUserFile(path)
	if err != nil {
		return nil, err
	}
	rec, err := readRecording(path, data, mapName, m)
	if err != nil {
		return rec, err
	}
	return rec, usable(rec, filepath.Base(path))
}
