package say

import (
	"errors"
	"fmt"
	"strings"
	"testing"
)

type shout map[string]string

func (s shout) Find(key string) string {
	if t, ok := s[key]; ok {
		return t
	}
	return key
}

// Form as in Polish: one, few (2 to 4 but not 12 to 14), many (CLDR plural rules).
func (shout) Form(n float64) int {
	i := int(n)
	switch {
	case i == 1:
		return 0
	case i%10 >= 2 && i%10 <= 4 && (i%100 < 12 || i%100 > 14):
		return 1
	}
	return 2
}

func TestText(t *testing.T) {
	laps := func(n int) Text { return T("{n} {n|lap|laps}", n) }
	pl := shout{"{n} {n|lap|laps}": "{n} {n|okrążenie|okrążenia|okrążeń}", "At {turn}: {what}.": "{what}: {turn}!", "spins": "buksuje"}
	for _, c := range []struct {
		text        Text
		english, pl string
	}{
		{"", "", ""},
		{Plain("Ada"), "Ada", "Ada"},
		{laps(1), "1 lap", "1 okrążenie"},
		{laps(3), "3 laps", "3 okrążenia"},
		{laps(13), "13 laps", "13 okrążeń"},
		{laps(0), "0 laps", "0 okrążeń"},
		{T("At {turn}: {what}.", "turn 4", T("spins")), "At turn 4: spins.", "buksuje: turn 4!"},
		{T("spins") + " " + laps(22), "spins 22 laps", "buksuje 22 okrążenia"},
		{T("At {turn}: {what}.", "x\x1fy\x0e", "{turn}"), "At xy: {turn}.", "{turn}: xy!"}, // values are not read as text
		{Join([]Text{T("spins"), T("hops")}, ", "), "spins, hops", "buksuje, hops"},
		{T("{what^}. So {what}.", T("spins")), "Spins. So spins.", "Buksuje. So buksuje."},
		{T("{what^}!", ""), "!", "!"},
		{T("twice {a} and {b} and {a}", 1, 2), "twice 1 and 2 and 1", "twice 1 and 2 and 1"},
		{"half \x0ea message", "half a message", "half a message"}, // a damaged one is shown as far as it goes
	} {
		if got := c.text.String(); got != c.english {
			t.Errorf("%q is %q in English, want %q", c.text, got, c.english)
		}
		if got := c.text.In(pl); got != c.pl {
			t.Errorf("%q is %q, want %q", string(c.text), got, c.pl)
		}
	}
}

func TestPlacesAndValuesMatch(t *testing.T) {
	defer func() {
		if p := recover(); p == nil || !strings.Contains(p.(string), "has 1 places, 2 values") {
			t.Errorf("panic %v", p)
		}
	}()
	T("only {n}", 1, 2)
}

// No bytes make a text that cannot be said.
func FuzzText(f *testing.F) {
	f.Add("At {turn}: {what|a|b}.", "x")
	f.Add("\x0e\x0e{\x1f", "{n")
	f.Fuzz(func(t *testing.T, s, v string) {
		for _, r := range Text(s).String() {
			if isMark(r) {
				t.Fatalf("%q shows marks", s)
			}
		}
		if n := len(Places(bare(s))); n == 1 {
			if got := T(bare(s), v).String(); strings.ContainsFunc(got, isMark) {
				t.Fatalf("%q with %q shows marks", s, v)
			}
		}
	})
}

// An error says its text in any language, with what it wraps said within, and is
// still found by errors.Is.
func TestErrors(t *testing.T) {
	why := errors.New("disk full")
	inner := Error("{file} cannot be kept: {why}", "a.csv", why)
	outer := Error("run {n} was not added: {why}", 3, inner)
	if got, want := outer.Error(), "run 3 was not added: a.csv cannot be kept: disk full"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if !errors.Is(outer, why) || !errors.Is(outer, inner) {
		t.Error("what is wrapped is not found")
	}
	l := shout{"{file} cannot be kept: {why}": "({why}) {file} bleibt nicht", "run {n} was not added: {why}": "Lauf {n}: {why}"}
	if got, want := Of(fmt.Errorf("%w", outer)).In(l), "Lauf 3: (disk full) a.csv bleibt nicht"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if Of(nil) != "" || Of(why) != Plain("disk full") {
		t.Error("an error without a text says its own words")
	}
}
