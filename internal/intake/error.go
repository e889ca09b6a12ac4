package intake

import (
	"fmt"
	"strings"

	"cornerwright/internal/say"
)

// Error says where an input is wrong, what is wrong, and how to mend it.
type Error struct {
	File   string
	Line   int // from 1; 0 where there is no line
	Column int // from 1; 0 where there is none
	Text   say.Text
	Mend   say.Text
	Source string // the line itself, shortened; "" if there is none
}

// Error prints
//
//	day2-am.csv:1873:14: column "speed" is empty
//		1872.40,31.2,,0.18
//	mend: ...
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Line > 0 {
		fmt.Fprintf(&b, ":%d", e.Line)
		if e.Column > 0 {
			fmt.Fprintf(&b, ":%d", e.Column)
		}
	}
	if b.Len() > 0 {
		b.WriteString(": ")
	}
	b.WriteString(e.Text.String())
	if e.Source != "" {
		b.WriteString("\n\t" + e.Source)
	}
	if e.Mend != "" {
		b.WriteString("\nmend: " + e.Mend.String())
	}
	return b.String()
}

// Said is what is wrong, with its place in the file, in any language.
func (e *Error) Said() say.Text {
	if e.Line > 0 {
		return say.T("line {line}: {text}", e.Line, e.Text)
	}
	return e.Text
}
