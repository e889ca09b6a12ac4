package book

import (
	"errors"
	"fmt"
	"strings"

	"cornerwright/internal/say"
)

// Kinds of error. Callers test with errors.Is and map each kind once: to an
// exit code (Exit) or to a status of a page.
var (
	ErrInvalid  = errors.New("invalid")   // the input was bad
	ErrNotFound = errors.New("not found") // no such run, step, bike, ...
	ErrConflict = errors.New("conflict")  // somebody else changed it, or a rule forbids it now
	ErrDamaged  = errors.New("damaged")   // the book is damaged or cannot be written
	ErrLocked   = errors.New("locked")    // another process has the book open
)

// Error says where, what and how to mend it.
type Error struct {
	Kind   error  // one of the kinds above
	File   string // "" where there is none
	Line   int    // from 1; 0 where there is none
	Column int
	Text   say.Text // what was found, lower case, no full stop
	Source string   // the line itself, shortened; "" if there is none
	Mend   say.Text // what to do
	Err    error    // cause, may be nil
	More   []string // further things wrong in the same file, each with its place
}

// Where gives file, line and column as "file:line:column", as far as known.
func (e *Error) Where() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Line > 0 {
		if e.File == "" {
			fmt.Fprintf(&b, "line %d", e.Line)
		} else {
			fmt.Fprintf(&b, ":%d", e.Line)
		}
		if e.Column > 0 {
			fmt.Fprintf(&b, ":%d", e.Column)
		}
	}
	return b.String()
}

func (e *Error) Error() string {
	s := e.Text.String()
	if e.Err != nil {
		if s != "" {
			s += ": "
		}
		s += e.Err.Error()
	}
	if w := e.Where(); w != "" {
		s = w + ": " + s
	}
	if e.Source != "" {
		s += "\n  " + e.Source
	}
	if e.Mend != "" {
		s += "\n  mend: " + e.Mend.String()
	}
	for _, m := range e.More {
		s += "\n" + m
	}
	return s
}

// Said is what was found, with its place in the file and its cause, in any
// language.
func (e *Error) Said() say.Text {
	t := e.Text
	if e.Err != nil && t == "" {
		t = say.Of(e.Err)
	} else if e.Err != nil {
		t = say.T("{what}: {why}", t, e.Err)
	}
	if w := e.Where(); w != "" {
		t = say.T("{where}: {what}", w, t)
	}
	return t
}

func (e *Error) Unwrap() []error {
	if e.Err != nil {
		return []error{e.Kind, e.Err}
	}
	return []error{e.Kind}
}

func invalid(text, mend say.Text) error  { return &Error{Kind: ErrInvalid, Text: text, Mend: mend} }
func notFound(text, mend say.Text) error { return &Error{Kind: ErrNotFound, Text: text, Mend: mend} }
func conflict(text, mend say.Text) error { return &Error{Kind: ErrConflict, Text: text, Mend: mend} }
func damaged(text say.Text, err error) error {
	return &Error{Kind: ErrDamaged, Text: text, Err: err, Mend: say.T("run 'cornerwright verify', then restore the last backup if it names losses")}
}

// Exit gives the exit code of an error: 0 none, 1 the input was bad, 3 the
// book is damaged or locked. Wrong usage (2) is the command line's own.
func Exit(err error) int {
	switch {
	case err == nil:
		return 0
	case errors.Is(err, ErrDamaged), errors.Is(err, ErrLocked):
		return 3
	}
	return 1
}
