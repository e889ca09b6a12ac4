package say

import (
	"fmt"
	"regexp"
	"strings"
)

var wrongType = regexp.MustCompile(`^cannot decode TOML (\w+) into struct field \S+ of type (\w+)`)

// WrongType says what a TOML parser's message about a value of the wrong type
// means, without the names of our own types; another message as it is.
func WrongType(text string) Text {
	m := wrongType.FindStringSubmatch(text)
	if m == nil {
		return Plain(text)
	}
	word := func(s string) Text {
		switch s {
		case "string":
			return T("a text")
		case "bool", "boolean":
			return T("true or false")
		case "int", "integer":
			return T("a whole number")
		case "float", "float64":
			return T("a number")
		}
		return Plain("a " + s)
	}
	return T("{have} stands here where {want} is needed", word(m[1]), word(m[2]))
}

// Quote writes a TOML basic string, escapes as TOML 1.0 has them.
func Quote(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case r < ' ' || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
