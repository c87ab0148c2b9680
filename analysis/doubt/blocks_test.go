package doubt

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
)

// NIST StRD univariate sets Lew, Mavro, Michelso, Lottery; tolerances as
// check-values/stats/nist states them. Printed digits limit r1 to 1e-14.
func TestNISTUnivariate(t *testing.T) {
	var file struct {
		Datasets []struct {
			Name string
			N    int
			Mean string
			SD   string `json:"sd_n_minus_1"`
			R1   string `json:"lag1_autocorrelation"`
			NEff string `json:"effective_n_r1"`
		}
	}
	readJSON(t, "stats/nist/nist_univariate_certified.json", &file)
	require.Len(t, file.Datasets, 4)
	for _, d := range file.Datasets {
		x := readColumn(t, "stats/nist/"+d.Name+".csv")
		require.Len(t, x, d.N)
		mean, sd := stat.MeanStdDev(x, nil)
		wantMean, wantSD := number(t, d.Mean), number(t, d.SD)
		requireNear(t, wantMean, mean, 1e-12*math.Abs(wantMean), d.Name+" mean")
		tol := 1e-12
		if d.Name == "Mavro" {
			tol = 1e-10
		}
		requireNear(t, wantSD, sd, tol*wantSD, d.Name+" sd")
		requireNear(t, number(t, d.R1), Lag1(x), 1e-10, d.Name+" r1")
		requireNear(t, number(t, d.NEff), EffectiveN(len(x), Lag1(x)), 1e-7, d.Name+" effective n")
	}
}

type autocorrSet struct {
	Name       string
	N          int
	ACF        []string
	NEff       string            `json:"n_effective"`
	NeweyWest  map[string]string `json:"newey_west_se_mean"`
	Bootstraps []struct {
		Length   int    `json:"block_length"`
		Blocks   int    `json:"blocks"`
		Circular string `json:"circular_se_mean"`
	} `json:"block_bootstrap_exact"`
}

func autocorrSets(t *testing.T) []autocorrSet {
	var file struct{ Datasets []autocorrSet }
	readJSON(t, "autocorr/effective_n_and_block_bootstrap.json", &file)
	require.Len(t, file.Datasets, 3)
	return file.Datasets
}

func autocorrData(t *testing.T, name string) []float64 {
	if name == "LakeHuron" {
		return readColumn(t, "autocorr/lake_huron.csv")
	}
	return readColumn(t, "stats/nist/"+name+".csv")
}

// Autocorrelation (R acf), effective n, Newey-West (R sandwich): 1e-10 as
// check-values/autocorr states.
func TestRelatedValues(t *testing.T) {
	for _, d := range autocorrSets(t) {
		x := autocorrData(t, d.Name)
		require.Len(t, x, d.N)
		requireNear(t, number(t, d.ACF[1]), Lag1(x), 1e-10, d.Name+" r1")
		requireNear(t, number(t, d.NEff), EffectiveN(d.N, Lag1(x)), 1e-10*number(t, d.NEff), d.Name+" effective n")
		for lags, want := range d.NeweyWest {
			requireNear(t, number(t, want), NeweyWest(x, int(number(t, lags))), 1e-10*number(t, want), d.Name+" Newey-West "+lags)
		}
	}
}

// blocksOf is a plan of the length given whatever the correlation.
func blocksOf(n, length int) *Blocks {
	day := make([]int, n)
	for i := range day {
		day[i] = i
	}
	b := NewBlocks(day, 0, 1)
	b.Length, b.Inflate = length, 1
	return b
}

// bootstrapMeans are means of resampled x through the same draws that the
// trials use.
func bootstrapMeans(b *Blocks, x []float64, n int, seed uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 7))
	w, day, means := make([]float64, len(x)), make([]float64, b.Days), make([]float64, n)
	for i := range means {
		b.draw(rng, w, day)
		means[i] = floats.Dot(w, x) / float64(len(x))
	}
	return means
}

// The circular block bootstrap's standard error of the mean has an exact
// value; 100,000 resamples scatter by 0.22 %, four of those are allowed (the
// stated tolerance is 1.5 % for 20,000).
func TestCircularBlocksExact(t *testing.T) {
	for _, d := range autocorrSets(t) {
		x := autocorrData(t, d.Name)
		for _, row := range d.Bootstraps {
			means := bootstrapMeans(blocksOf(len(x), row.Length), x, 100_000, 1)
			want := number(t, row.Circular)
			requireNear(t, want, stat.StdDev(means, nil), 0.009*want, d.Name)
			requireNear(t, stat.Mean(x, nil), stat.Mean(means, nil), 4*want/math.Sqrt(100_000), d.Name+" mean")
		}
	}
}

// Quantiles of the resampled mean of Lake Huron's level, blocks of 7 years
// (numpy, 20 runs of 20,000): ± 0.02 ft as stated.
func TestCircularBlocksQuantiles(t *testing.T) {
	x := readColumn(t, "autocorr/lake_huron.csv")
	r, err := Run([]Source{{Name: "years", Kind: Random, Dist: Resample, Blocks: blocksOf(len(x), 7)}},
		func(t *Trial, out []float64) { out[0] = floats.Dot(t.Weights(0), x) / float64(len(x)) }, 1, DefaultOptions())
	require.NoError(t, err)
	for p, want := range map[float64]float64{0.025: 578.4555344387752, 0.05: 578.5417423469387, 0.95: 579.4714543367346, 0.975: 579.5622714285711} {
		requireNear(t, want, r.Quantile(0, p), 0.02, "quantile")
	}
	requireNear(t, 579.0040816326531, r.Outputs[0].Nominal, 1e-9, "nominal")
}

// n' by check-values/autocorr/effective_n_table.csv (first row: Wilks 2006,
// example 5.2, from memory) and example 2 of trade/guideline14.
func TestEffectiveN(t *testing.T) {
	requireNear(t, 26.62081784386617, EffectiveN(31, 0.076), 1e-12, "Wilks")
	requireNear(t, 138.448275862069, EffectiveN(365, 0.45), 1e-12*138, "365 days")
	requireNear(t, 45, EffectiveN(30, -0.2), 1e-12, "negative")
	requireNear(t, 1.6560976713943565, StudentT(0.95, 136.44827586206898), 1e-9, "t of Guideline 14 example 2")
	requireNear(t, 2.9207816223499967, StudentT(0.995, 16), 1e-9, "t99 of GUM H.1")
}

func TestBlocksPlan(t *testing.T) {
	day := []int{10, 10, 11, 13, 13, 20}
	b := NewBlocks(day, 0.2, 1)
	require.Equal(t, 4, b.Days)
	require.Equal(t, 3, b.Length)
	require.Equal(t, 1, b.Count)
	require.Equal(t, "4 days make 1 of the 8 blocks of 3 days that an interval needs", b.Why())
	require.Equal(t, []float64{2, 4, 5.5}, DayMeans([]int{1, 1, 2, 5, 5, 9}, []float64{1, 3, 4, 5, 6, math.NaN()}))

	w, d := make([]float64, 6), make([]float64, 4)
	for seed := range uint64(50) {
		b.draw(rand.New(rand.NewPCG(seed, 0)), w, d)
		require.Equal(t, w[0], w[1], "rows of one day go together")
		requireNear(t, 4, w[0]+w[2]+w[3]+w[5], 1e-12, "days keep their number")
	}
	empty := NewBlocks(nil, 0, 1)
	empty.draw(rand.New(rand.NewPCG(1, 1)), nil, nil)
	require.NotEmpty(t, empty.Why())
}

// Few blocks: t(97.5 %, 9) = 2.262157 (Student's table), √(10/9).
func TestFewBlocksAreWidened(t *testing.T) {
	day := make([]int, 30)
	for i := range day {
		day[i] = i
	}
	b := NewBlocks(day, 0, 1)
	require.Equal(t, 10, b.Count)
	requireNear(t, 2.262157/1.959964*math.Sqrt(10.0/9), b.Inflate, 1e-6, "inflation")
	require.Empty(t, b.Why())
	require.Greater(t, BlockLength(200, 0.6), BlockLength(200, 0.3))
	require.Equal(t, 3, BlockLength(200, -0.5))
	require.LessOrEqual(t, BlockLength(20, 0.99), 10)
}

// The interval of a mean of related days holds the truth about as often as it
// says: first-order autoregression with ρ = 0.4 (invented data).
func TestBlocksCover(t *testing.T) {
	const runs, rho = 300, 0.4
	for _, n := range []int{60, 180} {
		rng := rand.New(rand.NewPCG(uint64(n), 3))
		held := 0
		for range runs {
			x, day := make([]float64, n), make([]int, n)
			x[0] = rng.NormFloat64() / math.Sqrt(1-rho*rho)
			for i := 1; i < n; i++ {
				x[i], day[i] = rho*x[i-1]+rng.NormFloat64(), i
			}
			b := NewBlocks(day, Lag1(x), 1)
			means := bootstrapMeans(b, x, 600, rng.Uint64())
			half := 1.96 * stat.StdDev(means, nil)
			if m := stat.Mean(x, nil); math.Abs(m) <= half {
				held++
			}
		}
		t.Logf("%d days: %d of %d intervals hold the truth", n, held, runs)
		require.GreaterOrEqual(t, held, runs*89/100)
		require.LessOrEqual(t, held, runs*99/100)
	}
}
