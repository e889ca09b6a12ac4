package say

import (
	"regexp"
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
