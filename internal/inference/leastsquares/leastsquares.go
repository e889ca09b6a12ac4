// Package leastsquares fits linear models by QR, with everything that the
// published reference sets certify: coefficients, errors, R2, F, robust errors
// and one-way analysis of variance. The verdict's own solver, which is made for
// a handful of laps and many thousand fits, is held against it. Tests alone use
// it: the program does not carry a matrix library.
package leastsquares

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/mathext"

	"cornerwright/internal/inference"
)

// HC names a covariance of coefficients that holds when the scatter differs
// from row to row. Source: MacKinnon and White, Journal of Econometrics 29
// (1985).
type HC int

const (
	HC0 HC = iota
	HC1
	HC2
	HC3
)

// LinearFit is a least squares fit y = X beta + e.
type LinearFit struct {
	Coef     []float64
	SE       []float64 // of the coefficients, equal scatter
	Residual []float64
	Leverage []float64
	SD       float64       // residual standard deviation
	DF       float64       // rows minus columns
	R2       float64       // about the mean with an intercept, about zero without
	F        float64       // of all columns but the intercept
	Cov      *mat.SymDense // unscaled: (X'X)^-1
	x        *mat.Dense
}

// OLS fits by QR with columns scaled to unit length. Row i of x holds the
// columns of observation i; intercept says whether the first column is the
// constant. It errs when the columns are dependent to working precision, or
// fewer rows than columns are left.
func OLS(x [][]float64, y []float64, intercept bool) (*LinearFit, error) {
	n := len(y)
	if len(x) != n {
		panic("leastsquares: OLS needs as many rows as values")
	}
	if n == 0 {
		return nil, fmt.Errorf("least squares: no rows")
	}
	p := len(x[0])
	if n <= p {
		return nil, fmt.Errorf("least squares: %d rows for %d coefficients; at least %d are needed", n, p, p+1)
	}
	a := mat.NewDense(n, p, nil)
	scale := make([]float64, p)
	for j := range p {
		for i := range n {
			scale[j] = math.Hypot(scale[j], x[i][j])
		}
		if scale[j] == 0 {
			return nil, fmt.Errorf("least squares: column %d is zero everywhere", j+1)
		}
		for i := range n {
			a.Set(i, j, x[i][j]/scale[j])
		}
	}
	var qr mat.QR
	qr.Factorize(a)
	if c := qr.Cond(); c > 1e11 {
		return nil, fmt.Errorf("least squares: columns are dependent (condition %.1g)", c)
	}
	b := mat.NewDense(p, 1, nil)
	if err := qr.SolveTo(b, false, mat.NewDense(n, 1, append([]float64(nil), y...))); err != nil {
		return nil, fmt.Errorf("least squares: %w", err)
	}
	f := &LinearFit{DF: float64(n - p), Residual: make([]float64, n), Leverage: make([]float64, n), x: mat.NewDense(n, p, nil)}
	// One step of refinement takes out most of what the factorisation lost.
	residual := func() *mat.Dense {
		r := mat.NewDense(n, 1, nil)
		for i := range n {
			s := y[i]
			for j := range p {
				s = math.FMA(-a.At(i, j), b.At(j, 0), s)
			}
			r.Set(i, 0, s)
		}
		return r
	}
	var d mat.Dense
	if err := qr.SolveTo(&d, false, residual()); err == nil {
		b.Add(b, &d)
	}
	r := residual()
	var rInv mat.Dense
	var rm mat.Dense
	qr.RTo(&rm)
	if err := rInv.Inverse(rm.Slice(0, p, 0, p)); err != nil {
		return nil, fmt.Errorf("least squares: %w", err)
	}
	f.Cov = mat.NewSymDense(p, nil)
	for i := range p {
		for j := i; j < p; j++ {
			s := 0.0
			for k := range p {
				s += rInv.At(i, k) * rInv.At(j, k)
			}
			f.Cov.SetSym(i, j, s/(scale[i]*scale[j]))
		}
	}
	ss := 0.0
	for i := range n {
		f.Residual[i] = r.At(i, 0)
		ss += f.Residual[i] * f.Residual[i]
		for j := range p {
			f.x.Set(i, j, x[i][j])
		}
		// Leverage from the scaled rows: |x R^-1|^2.
		for k := range p {
			s := 0.0
			for j := range p {
				s += a.At(i, j) * rInv.At(j, k)
			}
			f.Leverage[i] += s * s
		}
	}
	f.SD = math.Sqrt(ss / f.DF)
	for j := range p {
		f.Coef = append(f.Coef, b.At(j, 0)/scale[j])
		f.SE = append(f.SE, f.SD*math.Sqrt(f.Cov.At(j, j)))
	}
	total, k := 0.0, float64(p)
	if intercept {
		m := inference.Mean(y)
		for _, v := range y {
			total += (v - m) * (v - m)
		}
		k--
	} else {
		for _, v := range y {
			total += v * v
		}
	}
	f.R2 = 1 - ss/total
	f.F = (total - ss) / k / (ss / f.DF)
	return f, nil
}

// Robust returns the standard errors of the coefficients under the given
// covariance.
func (f *LinearFit) Robust(k HC) []float64 {
	n, p := f.x.Dims()
	meat := mat.NewDense(p, p, nil)
	for i := range n {
		w := f.Residual[i] * f.Residual[i]
		switch h := 1 - f.Leverage[i]; k {
		case HC1:
			w *= float64(n) / f.DF
		case HC2:
			w /= h
		case HC3:
			w /= h * h
		}
		for a := range p {
			for b := range p {
				meat.Set(a, b, meat.At(a, b)+w*f.x.At(i, a)*f.x.At(i, b))
			}
		}
	}
	var t, v mat.Dense
	t.Mul(f.Cov, meat)
	v.Mul(&t, f.Cov)
	se := make([]float64, p)
	for j := range p {
		se[j] = math.Sqrt(v.At(j, j))
	}
	return se
}

// Coefficient returns coefficient j with its t interval.
func (f *LinearFit) Coefficient(j int, level float64) inference.Estimate {
	return inference.FromT(f.Coef[j], f.SE[j], f.DF, level, len(f.Residual))
}

// ANOVA is a one-way analysis of variance.
type ANOVA struct {
	BetweenSS, WithinSS float64
	BetweenDF, WithinDF float64
	F, P, R2, SD        float64
}

// OneWay compares the means of groups. Deviations are taken from the first
// value, so that a large common constant costs few digits.
func OneWay(groups ...[]float64) ANOVA {
	var a ANOVA
	if len(groups) == 0 || len(groups[0]) == 0 {
		return ANOVA{F: math.NaN(), P: math.NaN(), R2: math.NaN(), SD: math.NaN()}
	}
	origin := groups[0][0]
	var all []float64
	means := make([]float64, len(groups))
	for g, x := range groups {
		d := make([]float64, len(x))
		for i, v := range x {
			d[i] = v - origin
		}
		means[g] = inference.Mean(d)
		for _, v := range d {
			a.WithinSS += (v - means[g]) * (v - means[g])
		}
		all = append(all, d...)
	}
	m := inference.Mean(all)
	for g, x := range groups {
		a.BetweenSS += float64(len(x)) * (means[g] - m) * (means[g] - m)
	}
	a.BetweenDF, a.WithinDF = float64(len(groups)-1), float64(len(all)-len(groups))
	a.F = a.BetweenSS / a.BetweenDF / (a.WithinSS / a.WithinDF)
	a.P = fSurvival(a.F, a.BetweenDF, a.WithinDF)
	a.R2 = a.BetweenSS / (a.BetweenSS + a.WithinSS)
	a.SD = math.Sqrt(a.WithinSS / a.WithinDF)
	return a
}

// fSurvival returns P(F >= x) with d1 and d2 degrees of freedom.
func fSurvival(x, d1, d2 float64) float64 {
	if x <= 0 {
		return 1
	}
	return mathext.RegIncBeta(d2/2, d1/2, d2/(d2+d1*x))
}
