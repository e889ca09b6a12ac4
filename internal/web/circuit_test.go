package web

import (
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"
)

func TestCircuitByHand(t *testing.T) {
	s := open(t)
	b, err := shared()
	if err != nil {
		t.Fatal(err)
	}
	all, err := b.Circuits()
	if err != nil || len(all) == 0 {
		t.Fatal(err)
	}
	at := s.URL + "/circuit/" + pathEscape(all[0].Name)
	_, body := get(t, at)
	key := token.FindStringSubmatch(body)
	if key == nil {
		t.Fatal("the form has no token")
	}
	post := func(v url.Values) (int, string) {
		v.Set("token", key[1])
		if !v.Has("version") {
			c, err := b.Circuit(all[0].Name)
			if err != nil {
				t.Fatal(err)
			}
			v.Set("version", fmt.Sprint(c.Version))
		}
		r, err := http.PostForm(at, v)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		x, _ := io.ReadAll(r.Body)
		return r.StatusCode, string(x)
	}
	for _, c := range []struct {
		form url.Values
		want string
	}{
		{url.Values{"do": {"merge"}, "first": {"4"}, "last": {"x"}}, "is no turn number"},
		{url.Values{"do": {"merge"}, "first": {"4"}, "last": {"44"}}, "there is no turn 44"},
		{url.Values{"do": {"split"}, "at": {"1e999"}}, "is no place in metres"},
		{url.Values{"do": {"gate"}, "at": {"90000"}}, "the gate cannot be moved"},
		{url.Values{"do": {"drop"}, "number": {"4"}, "version": {"0"}}, "somebody changed this circuit meanwhile"},
	} {
		if code, body := post(c.form); code != http.StatusUnprocessableEntity || !strings.Contains(body, c.want) {
			t.Errorf("%v: %d, want %q", c.form, code, c.want)
		}
	}
	if code, body := post(url.Values{"do": {"renumber"}, "number": {"9"}, "to": {"19"}, "following": {"yes"}}); code != 200 || !strings.Contains(body, "has the number 19") {
		t.Fatalf("renumber: %d", code)
	}
	c, err := b.Circuit(all[0].Name)
	if err != nil || c.Turn(19) == nil || c.Turn(9) != nil || c.Turn(20) == nil {
		t.Errorf("turns after renumbering: %+v, %v", c.Turns, err)
	}
	if code, body := post(url.Values{"do": {"back"}, "edit": {"0"}}); code != 200 || strings.Contains(body, "has the number 19") {
		t.Errorf("take back: %d", code)
	}
	if c, err = b.Circuit(all[0].Name); err != nil || c.Turn(9) == nil || c.Turn(19) != nil {
		t.Errorf("turns after taking it back: %v", err)
	}
}

func TestCircuitRenamedOnThePage(t *testing.T) {
	b := aBook(t)
	s := aSite(t, b)
	all, err := b.Circuits()
	if err != nil || len(all) != 1 {
		t.Fatal(all, err)
	}
	at := "/circuit/" + pathEscape(all[0].Name)
	key := token.FindStringSubmatch(s.crew.get(at).Body.String())
	if key == nil {
		t.Fatal("the form has no token")
	}
	form := url.Values{"token": {key[1]}, "version": {"0"}, "do": {"name"}, "to": {" "}}
	if w := s.crew.post(at, form); w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "is no name for a circuit") {
		t.Errorf("an empty name: %d", w.Code)
	}
	form.Set("to", "Käfer & Söhne")
	w := s.crew.post(at, form)
	if w.Code != http.StatusSeeOther {
		t.Fatalf("renaming: %d %s", w.Code, w.Body)
	}
	if body := s.crew.get(w.Header().Get("Location")).Body.String(); !strings.Contains(body, "Käfer &amp; Söhne") {
		t.Error("the page of the new name does not show it")
	}
	if w := s.crew.get(at); w.Code != http.StatusNotFound {
		t.Errorf("the page of the old name: %d", w.Code)
	}
	if r, err := b.Run("1"); err != nil || r.Circuit != "Käfer & Söhne" {
		t.Errorf("run 1 at %q: %v", r.Circuit, err)
	}
}
