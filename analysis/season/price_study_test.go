//go:build study

package season

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest"
	"yardheat/ingest/farm"
	"yardheat/ingest/simfarm"
)

// TestStudyPrices counts how often money and CO2 hold the truth where the prices
// and factors stated are off by errors drawn from what [errors] says of them: a
// farm's probes err once, its prices five times.
func TestStudyPrices(t *testing.T) {
	const draws = 5
	keys := []string{"instead.price_per_kwh", "electricity.price_per_kwh", "instead.co2_kg_per_kwh", "electricity.co2_kg_per_kwh"}
	half := []float64{0.15, 0.10, 0.10, 0.10} // the factors': the default
	held, without, n := map[string]int{}, map[string]int{}, 0
	for seed := *studyFrom; seed <= lastSeed(); seed++ {
		sim, err := simfarm.Run(simfarm.Short(seed))
		require.NoError(t, err)
		dir := t.TempDir()
		require.NoError(t, sim.Write(dir))
		rec, err := ingest.Load(dir, ingest.DefaultLoadOptions())
		require.NoError(t, err)
		rng := rand.New(rand.NewPCG(seed, 0x9817))
		for range draws {
			off := [4]float64{}
			for i, h := range half {
				off[i] = 1 + h/z95*rng.NormFloat64()
			}
			n++
			for _, stated := range []bool{true, false} {
				one := altered(rec, func(f *farm.Farm) {
					f.Instead.PricePerKWh *= off[0]
					f.Electricity.PricePerKWh *= off[1]
					f.Instead.CO2KgPerKWh *= off[2]
					f.Electricity.CO2KgPerKWh *= off[3]
					for i, k := range keys {
						e := farm.StatedError{Key: k, Relative: true}
						if stated {
							e.HalfWidth = half[i]
						}
						if i < 2 || !stated {
							f.Errors = append(f.Errors[:len(f.Errors):len(f.Errors)], e)
						}
					}
				})
				s := savingOf(t, one)
				for key, truth := range map[string]float64{"money": sim.Truth().Money, "co2_kg": sim.Truth().CO2Kg} {
					if f := find(t, s.Saving.Whole, key); !math.IsNaN(f.Value) && holds(f, truth) {
						if stated {
							held[key]++
						} else {
							without[key]++
						}
					}
				}
			}
		}
	}
	p := func(m map[string]int, key string) float64 { return 100 * float64(m[key]) / float64(n) }
	text := made("StudyPrices") + "\nEach farm's probes err once; what it states of prices and factors is drawn five times from errors of 15 % (carrier's price),\n10 % (electricity's) and 10 % (factors, the default). The last column takes them as exact.\n\n" +
		"| figure | seasons | held by its interval | held, prices and factors taken as exact |\n|---|---|---|---|\n"
	for _, key := range []string{"money", "co2_kg"} {
		text += fmt.Sprintf("| %s, whole | %d | %.1f %% | %.1f %% |\n", key, n, p(held, key), p(without, key))
	}
	section(t, "Prices and CO2 factors that are off", text)
}

// savingOf makes heats and saving alone.
func savingOf(t *testing.T, rec *ingest.Record) *Season {
	t.Helper()
	o := DefaultOptions()
	o.Doubt.MinTrials, o.Doubt.MaxTrials = 4000, 4000
	b, _, _, err := newBuilder(rec, o)
	require.NoError(t, err)
	all := b.stretchOf(func(int) bool { return true })
	x := b.terms()
	b.heat(x, all)
	b.saving(b.saver(x), x, all)
	require.NoError(t, b.run())
	return b.s
}
