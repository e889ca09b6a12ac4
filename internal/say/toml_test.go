package say

import (
	"testing"

	"github.com/pelletier/go-toml/v2"
)

// TestQuote reads back what is written with a parser of TOML 1.0.
func TestQuote(t *testing.T) {
	for _, s := range []string{"", "Old Mill", `a "b" \c`, "two\nlines\tand a tab", "bell \a, delete \x7f", "Käfer 弯"} {
		var got struct{ X string }
		if err := toml.Unmarshal([]byte("x = "+Quote(s)), &got); err != nil || got.X != s {
			t.Errorf("%q: written %s, read %q: %v", s, Quote(s), got.X, err)
		}
	}
}
