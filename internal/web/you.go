package web

import (
	"net/http"
	"net/url"
	"strings"

	"cornerwright/internal/draw"
	"cornerwright/internal/say"
	"cornerwright/internal/unit"
	"cornerwright/internal/words"
)

// You is what a person chose for their own eyes; it lives in their cookies.
type You struct {
	Name     string
	Theme    string // "light", "dark", "" as the device says
	Speed    string // km/h or mph
	Pressure string // bar or psi
	Temp     string // °C or °F
	Torque   string // Nm or lbf·ft
	Decimal  string // "1.5" or "1,5": how a number is written
	Dates    string // an example of a date, as dateLayouts has it
	Lang     string // of the texts
}

// choices of each preference, the first is the usual.
var choices = map[string][]string{
	"theme": {"", "light", "dark"}, "speed": {"km/h", "mph"}, "pressure": {"bar", "psi"}, "temp": {"°C", "°F"}, "torque": {"Nm", "lbf·ft"},
	"decimal": {"1.5", commaChoice}, "dates": {"2026-05-14", "14 May 2026", "14/05/2026", "05/14/2026"}, "lang": words.Languages(),
}

func youOf(r *http.Request) You {
	get := func(key string) string {
		c, err := r.Cookie("cw_" + key)
		if err != nil {
			return ""
		}
		v, err := url.QueryUnescape(c.Value)
		if err != nil || len(v) > 80 {
			return ""
		}
		return v
	}
	one := func(key string) string {
		v := get(key)
		for _, c := range choices[key] {
			if c == v {
				return v
			}
		}
		return choices[key][0]
	}
	return You{Name: get("name"), Theme: one("theme"), Speed: one("speed"), Pressure: one("pressure"), Temp: one("temp"), Torque: one("torque"), Decimal: one("decimal"), Dates: one("dates"), Lang: one("lang")}
}

// Exact factors: international mile 1609.344 m; pound-force 4.4482216152605 N on
// a square inch of 0.0254 m squared; foot 0.3048 m (NIST SP 811).
const (
	kmhPerMph  = 1.609344
	barPerPsi  = 4.4482216152605 / (0.0254 * 0.0254) / 1e5
	nmPerLbfFt = 4.4482216152605 * 0.3048
)

// V shows a value given in a unit that a person may have chosen otherwise.
func (y You) V(v float64, key string) string {
	x, u := y.Convert(v, key)
	return y.point(draw.Number(x, unit.Places(u)))
}

// U is the unit that V shows a value in.
func (y You) U(key string) string {
	_, u := y.Convert(0, key)
	return unit.Shown(u)
}

// Convert turns a value in km/h, bar, deg C or Nm to the chosen unit; others
// pass through.
func (y You) Convert(v float64, unit string) (float64, string) {
	switch unit {
	case "km/h", "kmh":
		if y.Speed == "mph" {
			return v / kmhPerMph, "mph"
		}
		return v, "kmh"
	case "bar":
		if y.Pressure == "psi" {
			return v / barPerPsi, "psi"
		}
	case "c", "°C":
		if y.Temp == "°F" {
			return v*1.8 + 32, "°F"
		}
		return v, "°C"
	case "nm", "Nm":
		if y.Torque == "lbf·ft" {
			return v / nmPerLbfFt, "lbf·ft"
		}
		return v, "Nm"
	}
	return v, unit
}

// Kmh shows a speed of m/s in the chosen unit.
func (y You) Kmh(ms float64) string { return y.V(ms*3.6, "kmh") }

// Of is the choice made for a kind of unit.
func (y You) Of(key string) string {
	return map[string]string{"theme": y.Theme, "speed": y.Speed, "pressure": y.Pressure, "temp": y.Temp, "torque": y.Torque, "decimal": y.Decimal, "dates": y.Dates, "lang": y.Lang}[key]
}

type youPage struct {
	You     You
	Choices map[string][]string
	Saved   bool
	Back    string
}

func (s *server) you(r *http.Request) (page, error) {
	return page{Title: say.T("Your view"), Name: "you", Body: youPage{You: youOf(r), Choices: choices, Saved: r.URL.Query().Has("saved"), Back: localPath(r.URL.Query().Get("back"))}}, nil
}

// localPath keeps a path of our own, "/" for anything else.
func localPath(p string) string {
	u, err := url.Parse(p)
	if err != nil || u.Host != "" || u.Scheme != "" || !strings.HasPrefix(p, "/") || strings.HasPrefix(p, "//") || strings.Contains(p, "\\") {
		return "/"
	}
	return p
}

// saveYou keeps what a person chose in their own browser.
func (s *server) saveYou(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	prefer(w, r, "name", clip(field(r, "name"), 40))
	for key, of := range choices {
		for _, c := range of {
			if field(r, key) == c {
				prefer(w, r, key, c)
			}
		}
	}
	return "/you?saved&back=" + url.QueryEscape(localPath(field(r, "back"))), nil, nil
}

// prefer keeps a choice in its person's browser, for as long as browsers do.
func prefer(w http.ResponseWriter, r *http.Request, key, v string) {
	http.SetCookie(w, &http.Cookie{Name: "cw_" + key, Value: url.QueryEscape(v), Path: "/", MaxAge: 400 * 24 * 3600, HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteStrictMode})
}

func pathEscape(s string) string { return url.PathEscape(s) }
