package contract

import "cornerwright/internal/intake"

// Converted is the answer of `convert FILE --json`.
type Converted struct {
	File     string            `json:"file"`
	To       string            `json:"to"`
	Rows     int               `json:"rows"`
	LostRows int               `json:"lost_rows"`
	Columns  []ConvertedColumn `json:"columns"`
}

// ConvertedColumn is one column as it stands in the Parquet file.
type ConvertedColumn struct {
	Name     string   `json:"name"`
	Header   string   `json:"header"`             // the cell of the text's head
	Unit     string   `json:"unit,omitempty"`     // as the text states it
	Kind     string   `json:"kind"`               // number, clock, date-time, label
	Decimals *int     `json:"decimals,omitempty"` // absent: kept as a 64-bit float
	Labels   []string `json:"labels,omitempty"`   // words of a label column, by their number
}

// NewConverted builds the answer.
func NewConverted(file, to string, got *intake.Imported) Converted {
	out := Converted{File: file, To: to, Rows: got.Rows, LostRows: got.LostRows, Columns: []ConvertedColumn{}}
	for _, c := range got.Columns {
		x := ConvertedColumn{Name: c.Name, Header: c.Header, Unit: c.Unit, Kind: c.Kind, Labels: c.Labels}
		if c.Decimals >= 0 {
			x.Decimals = &c.Decimals
		}
		out.Columns = append(out.Columns, x)
	}
	return out
}
