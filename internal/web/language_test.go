package web

import (
	"html"
	"regexp"
	"strings"
	"testing"

	"cornerwright/internal/debrief"
	"cornerwright/internal/words"
)

// A language in which every text of the catalogue stands in brackets.
func bracketed() words.Catalogue {
	c := words.Catalogue{}
	for _, m := range words.Texts() {
		c[m] = "⟦" + m + "⟧"
	}
	return c
}

var (
	recordingSays = regexp.MustCompile(`(?s)<section id="(health|laps)">.*?</section>`)
	silentParts   = regexp.MustCompile(`(?s)<(script|style|head|code|svg|option|textarea)\b.*?</(script|style|head|code|svg|option|textarea)>`)
	tags          = regexp.MustCompile(`<[^>]*>`)
	innermost     = regexp.MustCompile(`⟦[^⟦⟧]*⟧`)
	quoted        = regexp.MustCompile(`“[^”]*”`) // what people said themselves
	threeWords    = regexp.MustCompile(`[A-Za-z]{2,},? [a-z]{2,},? [a-z]{2,}`)
)

// left is what of a page's text no text of the catalogue covers, block by block.
func left(page string) []string {
	page = silentParts.ReplaceAllString(page, " ")
	page = regexp.MustCompile(`</?(p|li|h1|h2|h3|td|th|div|ul|tr|table|section|small|label|summary|button)\b[^>]*>`).ReplaceAllString(page, "\n")
	text := html.UnescapeString(tags.ReplaceAllString(page, ""))
	var out []string
	for _, l := range strings.Split(text, "\n") {
		for innermost.MatchString(l) {
			l = innermost.ReplaceAllString(l, "")
		}
		if l = strings.TrimSpace(quoted.ReplaceAllString(l, "")); l != "" {
			out = append(out, l)
		}
	}
	return out
}

// With a second language no sentence of a debrief, a step or a verdict stays
// English: findings with their proposals, guards, cautions, the answer.
func TestNoSentenceStaysEnglish(t *testing.T) {
	b := aBook(t)
	for turn, says := range map[int]debrief.Complaint{1: "held-back", 2: "pushes-on", 3: "hops", 4: "late-pick-up", 5: "spins", 6: "fine"} {
		if _, err := b.AddRemark(debrief.Remark{Run: 1, Turns: []int{turn}, Says: says, Strength: 2}, "test", string(says)); err != nil {
			t.Fatal(err)
		}
	}
	s := aSite(t, b)
	you := You{Decimal: "1.5", Dates: "2026-05-14", Lang: "en"}
	in, err := newSet(you, bracketed())
	if err != nil {
		t.Fatal(err)
	}
	s.voices.sets = map[voice]*set{you.voice(): in}
	for _, path := range []string{"/run/1", "/phone/1", "/step/1", "/step/1/verdict", "/add"} {
		// What the readers of files and the analysis say of the recording is not
		// in the catalogue: health, and the marks of laps.
		page := recordingSays.ReplaceAllString(s.crew.get(path).Body.String(), "")
		if n := strings.Count(page, "⟦"); n < 20 {
			t.Fatalf("%s is not in the second language: %d texts", path, n)
		}
		for _, l := range left(page) {
			if threeWords.MatchString(l) && !strings.Contains(l, "drag in second") { // the reason that a person gave
				t.Errorf("%s stays English: %q", path, l)
			}
		}
	}
}
