package say

import (
	"fmt"
	"regexp"
)

var wrongType = regexp.MustCompile(`^cannot decode TOML (\w+) into struct field \S+ of type (\w+)`)

// WrongType says what a TOML parser's message about a value of the wrong type
// means, without the names of our own types; another message as it is.
func WrongType(text string) string {
	m := wrongType.FindStringSubmatch(text)
	if m == nil {
		return text
	}
	word := func(s string) string {
		switch s {
		case "string":
			return "a text"
		case "bool", "boolean":
			return "true or false"
		case "int", "integer":
			return "a whole number"
		case "float", "float64":
			return "a number"
		}
		return "a " + s
	}
	return fmt.Sprintf("%s stands here where %s is needed", word(m[1]), word(m[2]))
}
