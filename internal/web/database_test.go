package web

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
)

// A bus log sent with its signal database is kept with it as one original, and
// the log is read by it.
func TestDatabaseBesideALog(t *testing.T) {
	b := aBook(t)
	s := aSite(t, b)
	log, err := os.ReadFile("../intake/testdata/can/basic.log")
	if err != nil {
		t.Fatal(err)
	}
	dbc, err := os.ReadFile("../intake/testdata/can/bus.dbc")
	if err != nil {
		t.Fatal(err)
	}
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	for k, v := range map[string]string{"token": s.crew.token(), "bike": "Heron 998"} {
		if err := m.WriteField(k, v); err != nil {
			t.Fatal(err)
		}
	}
	for _, f := range []struct {
		key, name string
		data      []byte
	}{{"recording", "ride.log", log}, {"database", "bus.dbc", dbc}} {
		w, err := m.CreateFormFile(f.key, f.name)
		if err == nil {
			_, err = w.Write(f.data)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1:8765/add", &body)
	r.Header.Set("Content-Type", m.FormDataContentType())
	r.Header.Set("Accept", "application/json")
	a := s.crew.do(r)
	var out struct {
		Trouble, Original string
		Problems          []struct{ Text string }
	}
	if err := json.Unmarshal(a.Body.Bytes(), &out); err != nil {
		t.Fatal(err)
	}
	// The little log holds no lap; that the signals have names shows the database.
	if out.Original == "" || strings.Contains(out.Trouble, "signal database") {
		t.Fatalf("%d %s", a.Code, a.Body)
	}
	told := a.Body.String()
	if !strings.Contains(told, "bus.dbc is taken as the signal database") {
		t.Errorf("the database was not used: %s", told)
	}
	f, err := b.Original(out.Original)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var packed bytes.Buffer
	if _, err := packed.ReadFrom(f); err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(packed.Bytes()), int64(packed.Len()))
	if err != nil || len(z.File) != 2 || z.File[0].Name != "bus.dbc" || z.File[1].Name != "ride.log" {
		t.Errorf("the original: %v", err)
	}
}
