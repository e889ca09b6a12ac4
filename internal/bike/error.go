package bike

import (
	"fmt"
	"sort"
	"strings"

	"cornerwright/internal/say"
	"cornerwright/internal/unit"
)

// Error is one thing wrong with a bike file: where it stands, what was found
// and what to do. Line and Column count from 1.
type Error struct {
	File         string
	Line, Column int
	Text         say.Text // what was found
	Mend         say.Text // what to do
	Also         []*Error
}

// Error gives the place, the text and the mend, one such paragraph for each
// thing wrong.
func (e *Error) Error() string {
	var b strings.Builder
	e.write(&b)
	for _, a := range e.Also {
		b.WriteByte('\n')
		a.write(&b)
	}
	return b.String()
}

func (e *Error) write(b *strings.Builder) {
	fmt.Fprintf(b, "%s:%d:%d: %s", e.File, e.Line, e.Column, e.Text)
	if e.Mend != "" {
		fmt.Fprintf(b, "\n\tmend: %s", e.Mend)
	}
}

// join makes one error of several, in the order of the file.
func join(all []*Error) error {
	if len(all) == 0 {
		return nil
	}
	sort.SliceStable(all, func(i, j int) bool {
		if all[i].Line != all[j].Line {
			return all[i].Line < all[j].Line
		}
		return all[i].Column < all[j].Column
	})
	first := *all[0]
	first.Also = all[1:]
	return &first
}

// nearest returns the candidate that was probably meant by word, "" if none is
// close enough. A wrong or missing unit at the end of a key is the usual slip, so
// that a key whose stem is the same counts as near as one with one letter wrong.
func nearest(word string, candidates []string) string {
	if near := unit.NearestWithin(word, candidates, 1); near != "" {
		return near
	}
	for _, c := range candidates {
		if s := stem(word); s != "" && s == stem(c) {
			return c
		}
	}
	return unit.NearestWithin(word, candidates, 1+len(word)/3)
}

// stem is a key without its unit: total_kg -> total.
func stem(key string) string {
	key = strings.ToLower(key)
	if i := strings.LastIndexByte(key, '_'); i > 0 {
		return strings.ReplaceAll(key[:i], "_", "")
	}
	return strings.ReplaceAll(key, "_", "")
}
