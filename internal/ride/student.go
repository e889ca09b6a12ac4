package ride

import "cornerwright/internal/inference"

// student95 is the factor of a two-sided 95 % interval.
func student95(df int) float64 { return studentFor(float64(df)) }

func studentFor(df float64) float64 { return inference.TQuantile(0.975, df) }
