package browser

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"strings"
	"testing"

	"cornerwright/internal/book"
	"cornerwright/internal/debrief"
	"cornerwright/internal/setting"
)

// look opens a page, keeps its picture, and fails where it breaks a rule of
// accessibility or is wider than the window.
func (w *tab) look(name, path, has string) {
	w.t.Helper()
	w.go_(path)
	w.see(has)
	w.shot(name)
	for _, v := range w.axe() {
		w.t.Errorf("%s: %s", path, v)
	}
	if over := js[int](w, "document.documentElement.scrollWidth - innerWidth"); over > 1 {
		w.t.Errorf("%s is %d px wider than its window", path, over)
	}
}

// An empty book says on every page how to begin.
func TestEmptyBook(t *testing.T) {
	s := serve(t, emptyBook(t))
	w := open(t, s.crew, 390, 844)
	for _, p := range [][3]string{{"day", "/", "the book is empty"}, {"add", "/add", "there is no bike"}, {"bikes", "/bikes", "no bike yet"}, {"season", "/season", "no timed lap"}, {"status", "/status", "none"}, {"phone", "/phone", "no run"}} {
		w.look("empty-"+p[0], p[1], p[2])
	}
	w.quiet()
}

// Names as long as people make them, and forty remarks on one run: nothing is
// wider than its window.
func TestLongNamesAndManyRemarks(t *testing.T) {
	b := emptyBook(t)
	toml, err := os.ReadFile(file(t, "bike.toml"))
	if err != nil {
		t.Fatal(err)
	}
	const bike = "Heron 998 of Konstantinopolitanischer Dudelsackpfeifergeselle, the second one with the long swing arm"
	const id = "engine-brake-of-the-second-closed-throttle-map-for-the-rain"
	toml = bytes.Replace(toml, []byte(`"Heron 998"`), []byte(fmt.Sprintf("%q", bike)), 1)
	toml = bytes.ReplaceAll(toml, []byte(`id = "engine-brake"`), []byte(fmt.Sprintf("id = %q\nacts = \"engine-brake\"", id)))
	k, err := b.AddBike("bike.toml", toml)
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(file(t, "first.csv"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.Add(context.Background(), book.AddRequest{Name: "Friday_free_practice_session_2_second_outing_after_the_red_flag_corrected_clock_v3_final.csv", Data: data,
		Circuit: "Autodromo Internazionale di Santa Maria Maddalena, long layout with the chicane",
		Tyre:    "medium front from the second set, soft rear that was scrubbed in yesterday afternoon", Weather: "dry after a damp morning, gusts across the main straight, 22 C", Note: strings.Repeat("everything was as before but for the spring. ", 6)}); err != nil {
		t.Fatal(err)
	}
	words := debrief.Vocabulary()
	for i := range 40 {
		if _, err := b.AddRemark(debrief.Remark{Run: 1, Turns: []int{1 + i%10}, Says: words[i%len(words)], Strength: 1 + i%3, Rider: "Maximiliana von Hohenzollern-Sigmaringendorf the younger",
			Words: strings.Repeat("and then it does that thing again where I am not sure of it, ", 1+i%4)}, "Bartholomew the engineer", fmt.Sprint(i)); err != nil {
			t.Fatal(err)
		}
	}
	sheet, err := b.CurrentSheet(k.Name)
	if err != nil {
		t.Fatal(err)
	}
	old := sheet.Values("B", id)[0][1]
	st, err := b.NewStep(context.Background(), setting.Step{Bike: k.Name, Slot: "B", Setting: id, Run: 1, Reason: strings.Repeat("because the rider says so and the data do not contradict it. ", 5), Cells: []setting.Cell{{Column: 1, Old: old, New: old + 5}},
		Primary: setting.Primary{Turn: 3, Measure: "segment", Expect: "less", Matters: 0.05}}, book.StepOptions{Author: "Bartholomew", Conditions: book.Conditions{Surface: "dry", Tyre: "warm", Air: "22 C, no wind"}})
	if err != nil {
		t.Fatal(err)
	}
	s := serve(t, b)
	for _, size := range []struct {
		name          string
		width, height int64
	}{{"laptop", 1366, 900}, {"phone", 390, 844}} {
		w := open(t, s.crew, size.width, size.height)
		circuit := "/circuit/" + strings.ReplaceAll("Autodromo Internazionale di Santa Maria Maddalena, long layout with the chicane", " ", "%20")
		for _, p := range [][3]string{{"day", "/", "runs in order"}, {"run", "/run/1", "say something"}, {"turn", "/run/1/turn/3", "every lap"}, {"step", fmt.Sprintf("/step/%d", st.ID), "what is changed"}, {"bike", "/bike/" + strings.ReplaceAll(bike, " ", "%20"), "the bike file"},
			{"phone", "/phone/1", "where"}, {"season", "/season", "measure"}, {"add", "/add", "put it in the book"}, {"circuit", circuit, "turns"}} {
			w.look("long-"+p[0]+"-"+size.name, p[1], p[2])
		}
		w.quiet()
		if testing.Short() {
			break
		}
	}
}
