package baseline

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// world draws a farm's days: milk and feed wander, residuals are AR(1).
type world struct {
	rng   *rand.Rand
	rho   float64
	noise float64
}

func (w *world) days(first, n int) (x [][]float64, day []int, y []float64) {
	e := w.rng.NormFloat64() / math.Sqrt(1-w.rho*w.rho)
	for i := range n {
		milk := 900 + 60*w.rng.NormFloat64() + 40*math.Sin(float64(first+i)/9)
		feed := 10 + 1.5*math.Sin(float64(first+i)/12) + 0.3*w.rng.NormFloat64()
		x, day = append(x, []float64{1, milk, feed}), append(day, first+i)
		y = append(y, 12+0.05*milk-1.4*feed+w.noise*e)
		e = w.rho*e + w.rng.NormFloat64()
	}
	return x, day, y
}

// covered is the share of seasons in which the interval for the total of the
// energy that would have been used holds it.
func covered(t *testing.T, rho float64, n, m, runs int, seed uint64) (held, boot float64) {
	t.Helper()
	w := &world{rng: rand.New(rand.NewPCG(seed, 17)), rho: rho, noise: 3}
	in, inBoot, known, all := 0, 0, 0, 0
	for range runs {
		x, day, y := w.days(0, n)
		model, why := Fit(Rows{Names: []string{"constant", "milk", "feed"}, Constant: 0, Day: day, Y: y, X: x}, DefaultOptions())
		if why != "" {
			continue
		}
		rx, rday, ry := w.days(n+30, m)
		truth := 0.0
		for _, v := range ry {
			truth += v
		}
		all++
		total := model.Total(rx, rday, nil)
		if total.Low <= truth && truth <= total.High {
			in++
		}
		if all <= 60 {
			b, err := model.Bootstrap(rx, rday, BootOptions{Seed: 1, Trials: 400})
			require.NoError(t, err)
			if b.Why == "" {
				known++
			}
			if b.Low <= truth && truth <= b.High {
				inBoot++
			}
		}
	}
	t.Logf("%d of %d seasons gave a number", all, runs)
	return float64(in) / float64(all), float64(inBoot) / float64(max(1, known))
}

// The interval of the total holds the truth 93 to 97 times in 100 where the
// residuals are related as they are taken to be (1,000 invented seasons a row:
// their chance alone is 0.7 %); the bootstrap, of 60 of them, is near.
func TestTotalsCover(t *testing.T) {
	if testing.Short() {
		t.Skip("thousands of fits")
	}
	for k, c := range []struct {
		rho  float64
		n, m int
	}{{0, 45, 90}, {0.3, 30, 90}, {0.5, 60, 90}, {0.3, 70, 30}} {
		held, boot := covered(t, c.rho, c.n, c.m, 1000, uint64(k+1))
		t.Logf("ρ %.1f, %d days before, %d after: %.1f %% held (bootstrap %.1f %%)", c.rho, c.n, c.m, 100*held, 100*boot)
		require.GreaterOrEqual(t, held, 0.93)
		require.LessOrEqual(t, held, 0.97)
		require.GreaterOrEqual(t, boot, 0.8)
	}
}
