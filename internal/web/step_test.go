package web

import (
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// Two people have one step before them. Who comes second is told that somebody
// was quicker, nothing is done for them, and what they typed is kept.
func TestTwoPeopleMoveOneStep(t *testing.T) {
	s := open(t)
	_, body := get(t, s.URL+"/step/1")
	key := token.FindStringSubmatch(body)
	if key == nil {
		t.Fatal("the form has no token")
	}
	post := func(to, who, reason string) (int, string) {
		r, err := http.PostForm(s.URL+"/step/1/state", url.Values{"token": {key[1]}, "from": {"proposed"}, "to": {to}, "who": {who}, "reason": {reason}})
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		b, _ := io.ReadAll(r.Body)
		return r.StatusCode, string(b)
	}
	if code, b := post("reverted", "Ines", "not today"); code != http.StatusOK || !strings.Contains(b, "Ines") {
		t.Fatalf("the first: %d", code)
	}
	code, b := post("loaded", "Joao", "the technician has it in")
	if code != http.StatusUnprocessableEntity && code != http.StatusConflict || !strings.Contains(b, "the technician has it in") || !strings.Contains(b, `role="alert"`) {
		t.Errorf("the second: %d, want to be told and what was typed kept", code)
	}
	_, b = get(t, s.URL+"/step/1")
	if strings.Contains(b, "Joao") || !strings.Contains(b, "Ines") {
		t.Error("the second did something")
	}
}
