// Package contract holds the JSON answers of the command line and the page:
// plain structs and what builds them from the results of the analysis.
//
// It is a promise to other programs: fields are added, never renamed or given
// another meaning. Names end in their unit (_s, _m, _kmh, _deg, _pct, _rpm,
// _nm, _mps2). A value that is not known is absent, never zero and never NaN.
// Lean, curvature and turn direction are positive to the right; instants are
// seconds on the recording's own clock; lengths along the lap are metres from
// the start gate.
package contract

import (
	"encoding/json"
	"io"
	"math"
)

// Write writes an answer as indented JSON with a final newline.
func Write(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

// opt is a value rounded to a number of decimals; nil, and so absent, where it
// is not known.
func opt(x float64, decimals int) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	p := math.Pow(10, float64(decimals))
	r := math.Round(x*p) / p
	if r == 0 {
		r = 0 // no negative zero
	}
	return &r
}

// positive is opt for values of which zero means "not known".
func positive(x float64, decimals int) *float64 {
	if !(x > 0) {
		return nil
	}
	return opt(x, decimals)
}

func degrees(rad float64, decimals int) *float64 { return opt(rad*180/math.Pi, decimals) }

func kmh(mps float64) *float64 { return opt(mps*3.6, 2) }

func pct(share float64) *float64 { return opt(share*100, 2) }

// list makes an empty slice of nil, so that JSON has [] and not null.
func list[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}
