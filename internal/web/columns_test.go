package web

import (
	"net/url"
	"strconv"
	"strings"
	"testing"

	"cornerwright/internal/book"
)

// The columns of a file that holds a run: the page says so, keeps what was
// chosen before, and what is chosen now is read.
func TestColumnsOfAFileWithARun(t *testing.T) {
	b := aBook(t)
	s := aSite(t, b)
	runs, err := b.Runs(book.RunFilter{})
	if err != nil || len(runs) == 0 {
		t.Fatalf("%d runs, %v", len(runs), err)
	}
	path := "/map/" + runs[0].Original
	page := s.crew.get(path).Body.String()
	if !strings.Contains(page, "was read from this file") || !strings.Contains(page, "Read it again so") {
		t.Fatal("the page does not say that the file holds a run")
	}
	rec, err := b.Recording(t.Context(), runs[0].Number)
	if err != nil {
		t.Fatal(err)
	}
	drop := ""
	for _, c := range rec.Channels { // one that no run needs
		if c.Name == "coolant" || c.Name == "lambda" || c.Name == "air_temp" || c.Name == "fork" {
			drop = c.From
		}
	}
	if drop == "" {
		t.Fatal("no channel to leave out")
	}
	res, _, _, err := b.Columns(runs[0].Original, 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	form := url.Values{}
	for _, c := range res.Columns {
		if c.Header == drop || c.Cell == drop {
			form.Set("channel-"+strconv.Itoa(c.Index), "ignore")
		}
	}
	if len(form) != 1 {
		t.Fatalf("%q is %d columns", drop, len(form))
	}
	a := s.crew.sign(path, form)
	if a.Code != 303 || a.Header().Get("Location") != "/run/"+strconv.Itoa(runs[0].Number) {
		t.Fatalf("%d %s %.300s", a.Code, a.Header().Get("Location"), a.Body)
	}
	if rec, err = b.Recording(t.Context(), runs[0].Number); err != nil {
		t.Fatal(err)
	}
	for _, c := range rec.Channels {
		if c.From == drop {
			t.Errorf("%q is still read", drop)
		}
	}
	if !strings.Contains(s.crew.get(path).Body.String(), `<option value="ignore" selected>`) {
		t.Error("what was chosen is not shown")
	}
}
