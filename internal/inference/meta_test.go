package inference

import (
	"math"
	"math/rand/v2"
	"testing"
)

// DerSimonian and Laird by hand: effects 0.2, 0.5, 0.9 with se 0.1, 0.2, 0.2.
// w = 100, 25, 25; fixed mean (20+12.5+22.5)/150; Q = sum w (y-mean)^2;
// tau2 = (Q-2)/(150 - 11250/150).
func TestRandomEffectsByHand(t *testing.T) {
	r := RandomEffects([]float64{0.2, 0.5, 0.9}, []float64{0.1, 0.2, 0.2}, nil, 0.95)
	mean := 55.0 / 150
	q := 100*math.Pow(0.2-mean, 2) + 25*math.Pow(0.5-mean, 2) + 25*math.Pow(0.9-mean, 2)
	tau2 := (q - 2) / (150 - 11250.0/150)
	near(t, "Q", r.Q, q, 1e-12)
	near(t, "tau", r.Tau, math.Sqrt(tau2), 1e-12)
	near(t, "I2", r.I2, (q-2)/q, 1e-12)
	w := []float64{1 / (0.01 + tau2), 1 / (0.04 + tau2), 1 / (0.04 + tau2)}
	mu := (w[0]*0.2 + w[1]*0.5 + w[2]*0.9) / (w[0] + w[1] + w[2])
	near(t, "mean", r.Value, mu, 1e-12)
	hk := (w[0]*math.Pow(0.2-mu, 2) + w[1]*math.Pow(0.5-mu, 2) + w[2]*math.Pow(0.9-mu, 2)) / 2
	near(t, "se", r.SE, math.Sqrt(math.Max(1, hk)/(w[0]+w[1]+w[2])), 1e-12)
	near(t, "half width", r.Half(), TQuantile(0.975, 2)*r.SE, 1e-12)
	if !(r.PredictLo < r.Lo && r.PredictHi > r.Hi) {
		t.Errorf("prediction %v to %v is not wider than %v to %v", r.PredictLo, r.PredictHi, r.Lo, r.Hi)
	}
}

func TestRandomEffectsFew(t *testing.T) {
	if r := RandomEffects(nil, nil, nil, 0.95); r.Known() || len(r.Warnings) == 0 {
		t.Error("nothing combined to something")
	}
	one := RandomEffects([]float64{0.3}, []float64{0.1}, []float64{9}, 0.95)
	near(t, "one", one.Half(), TQuantile(0.975, 9)*0.1, 1e-12)
	two := RandomEffects([]float64{0.3, 0.31}, []float64{0.1, 0.1}, nil, 0.95)
	if len(two.Warnings) == 0 || two.Half() < 0.5 {
		t.Errorf("two meetings: half width %v, warnings %v", two.Half(), two.Warnings)
	}
	// Meetings that agree better than chance do not narrow the interval.
	same := RandomEffects([]float64{0.3, 0.3, 0.3}, []float64{0.1, 0.1, 0.1}, nil, 0.95)
	near(t, "agreeing", same.SE, 0.1/math.Sqrt(3), 1e-12)
}

// Nominal coverage with the sample sizes a season has: 4 meetings, true effect
// varying between them.
func TestRandomEffectsCoverage(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 95))
	held, n := 0, 4000
	for range n {
		v, se, df := make([]float64, 4), make([]float64, 4), make([]float64, 4)
		for i := range v {
			true1 := 0.5 + 0.5*r.NormFloat64()
			chi := 0.0
			for range 9 {
				z := r.NormFloat64()
				chi += z * z
			}
			v[i] = true1 + 0.5*r.NormFloat64()
			se[i], df[i] = 0.5*math.Sqrt(chi/9), 9
		}
		if c := RandomEffects(v, se, df, 0.95); c.Lo <= 0.5 && 0.5 <= c.Hi {
			held++
		}
	}
	t.Logf("95 %% intervals over 4 meetings held %.1f %%", 100*float64(held)/float64(n))
	if s := float64(held) / float64(n); s < 0.94 {
		t.Errorf("held %.3f, want at least 0.94", s)
	}
}
