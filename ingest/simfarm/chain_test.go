package simfarm

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// loopCase is what is used here of testdata/check-values/loop/loop_cases.json.
type loopCase struct {
	Case    string       `json:"case"`
	VolumeL float64      `json:"V_L"`
	KPerH   string       `json:"k_per_h"`
	Flow    [][4]float64 `json:"flow_L_min"`
	Bed     struct {
		A float64 `json:"a"`
	} `json:"T_bed"`
	In struct {
		A float64 `json:"a"`
	} `json:"T_in"`
	Initial []any `json:"initial"`
	Draws   []struct {
		Volume string `json:"volume_L"`
		Out    string `json:"flow_weighted_T_out"`
	} `json:"draws"`
}

func readCase(t *testing.T, name string) loopCase {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "check-values", "loop", "loop_cases.json"))
	require.NoError(t, err)
	var all struct {
		Cases []loopCase `json:"cases"`
	}
	require.NoError(t, json.Unmarshal(data, &all))
	for _, c := range all.Cases {
		if c.Case == name {
			return c
		}
	}
	t.Fatalf("no %s", name)
	return loopCase{}
}

// bare is a pipe without wall, film or lead: k of the cases alone.
func (lc loopCase) bare(t *testing.T, n int) *chain {
	k, err := strconv.ParseFloat(lc.KPerH, 64)
	require.NoError(t, err)
	c := &chain{n: n, last: n, cellKg: lc.VolumeL / float64(n), film: 1e12, stillFilm: 1e12}
	c.waterKJ = c.cellKg * cpKJPerKgK
	c.bedG = k / 3600 * c.waterKJ
	c.water, c.wall = make([]float64, n+1), make([]float64, n)
	if lc.Initial[0] == "uniform" {
		c.fill(lc.Initial[1].(float64))
		return c
	}
	flow, in, bed := lc.Initial[1].(float64), lc.Initial[2].(float64), lc.Initial[3].(float64)
	for i := 1; i <= n; i++ {
		x := (float64(i) - 0.5) / float64(n)
		c.water[i] = bed + (in-bed)*math.Exp(-k/60*x*lc.VolumeL/flow)
	}
	c.gone = c.water[n]
	return c
}

// meanOut runs the case's flow in 10 s steps.
func (lc loopCase) meanOut(c *chain) (outC float64) {
	if lc.Flow[0][0] > 0 {
		c.still(lc.Flow[0][0], lc.Bed.A, 0)
	}
	sum, litres := 0.0, 0.0
	for _, f := range lc.Flow {
		for s := f[0]; s < f[1]; s += 10 {
			kg := 10 * f[2] / 60
			sum += kg * c.flow(10, kg, lc.In.A, lc.Bed.A, 0)
			litres += kg
		}
	}
	return sum / litres
}

// The exact solutions of testdata/check-values/loop, cases 1 and 4: the cells'
// flow-weighted mean outlet may be off by the jump at the front over N² (the
// parcels' temperatures are exact, their course within a cell is straight).
func TestChainAgainstExactSolution(t *testing.T) {
	for _, name := range []string{"case1_steady", "case4_1p6_loops"} {
		lc := readCase(t, name)
		want, err := strconv.ParseFloat(lc.Draws[0].Out, 64)
		require.NoError(t, err)
		jump := lc.Bed.A - lc.In.A
		for _, n := range []int{60, 120, 240} {
			got := lc.meanOut(lc.bare(t, n))
			t.Logf("%s N=%d: %.5f, exact %.5f", name, n, got, want)
			require.InDelta(t, want, got, jump/float64(n*n), "%s N=%d", name, n)
		}
	}
}

// Steady flow along a wall of constant temperature: T_out = T_b + (T_in - T_b)
// exp(-UA/(m c)) (testdata/check-values/heat/constant_wall_exponential.csv,
// Incropera 6th edition, equation 8.41b), UA of film and bed in series.
func TestSteadyUA(t *testing.T) {
	const film, bed, kgS = 12.0, 0.7, 0.15
	ua := 1 / (1/film + 1/bed)
	sample := Sample()
	want := 45 + (8-45)*math.Exp(-ua/(kgS*sample.cellsCp()))
	for _, n := range []int{60, 120, 240} {
		f := &Farm{s: Sample()}
		f.s.Loop.Cells, f.s.Loop.InletL, f.s.Loop.LeadL = n, 0, 0
		f.waterL, f.beta = 244, 0.23
		c := f.newChain(1, bed, 0)
		c.film = film / float64(n)
		c.fill(40)
		out := 0.0
		for range 2000 {
			out = c.flow(10, 10*kgS, 8, 45, 12)
		}
		t.Logf("N=%d: %.5f, exact %.5f", n, out, want)
		// The cells' error is of second order: (45 - 8)/N² and a bit.
		require.InDelta(t, want, out, 2*37.0/float64(n)/float64(n))
	}
}

// Water and wall of one cell against small explicit steps.
func TestRelax(t *testing.T) {
	const film, bed, waterKJ, wallKJ, dt = 0.12, 0.006, 8.4, 1.9, 37.0
	x, y := -30.0, -12.0
	r := newRelax(dt, film, bed, waterKJ, wallKJ)
	gotX, gotY := r.xx*x+r.xy*y, r.yx*x+r.yy*y
	const n = 2_000_000
	h := dt / n
	for range n {
		dx := film * (y - x) / waterKJ
		dy := (film*(x-y) - bed*y) / wallKJ
		x, y = x+h*dx, y+h*dy
	}
	// Euler's error is of the order h |second derivative| dt/2 = 1e-5.
	require.InDelta(t, x, gotX, 2e-5)
	require.InDelta(t, y, gotY, 2e-5)
}

// A front must arrive, on the mean, after V (1 + beta) whatever it exchanges
// with the wall (heat is kept), and without wall spread by the width asked for.
func TestFrontVolumeAndWidth(t *testing.T) {
	for _, beta := range []float64{0, 0.2} {
		f := &Farm{s: Sample()}
		f.waterL, f.beta = 240, beta
		c := f.newChain(1, 0, 0.02)
		c.n, c.first, c.last, c.airG, c.bedG, c.film = 120, 0, 120, 1e-9, 1e-9, 0.3
		c.water, c.wall = make([]float64, 121), make([]float64, 120)
		c.fill(1)
		moved, mean, second := 0.0, 0.0, 0.0
		last := 1.0
		for moved < 3*f.waterL {
			kg := 1.3
			out := c.flow(10, kg, 0, 0, 0)
			mid := moved + kg/2
			mean += (last - out) * mid
			second += (last - out) * mid * mid
			last = out
			moved += kg
		}
		pipeKg := c.cellKg * 120
		// The step's mean temperature falls half a step late.
		mean -= 1.3 / 2
		require.InDelta(t, pipeKg*(1+beta), mean, 0.01*c.cellKg+1e-3*pipeKg*beta)
		if beta == 0 {
			sd := math.Sqrt(second - (mean+0.65)*(mean+0.65))
			// Nothing else spreads it but cells and steps: sqrt((cell²+step²)/12).
			own := math.Sqrt((c.cellKg*c.cellKg + 1.3*1.3) / 6)
			require.InDelta(t, 0.02*pipeKg, sd, own*own/(2*0.02*pipeKg)+0.02*0.02*pipeKg)
		}
	}
}

// Coming to rest keeps the heat.
func TestAlignKeepsHeat(t *testing.T) {
	for _, kg := range []float64{0.4, 1.7, 2.9, 33.3} {
		f := &Farm{s: Sample()}
		f.waterL, f.beta = 240, 0.2
		c := f.newChain(1, 1e-9, 0.01)
		c.fill(20)
		for i := range c.water {
			c.water[i] += float64(i % 17)
		}
		c.film = 1e-9
		c.flow(1e-6, kg, 5, 20, 20)
		before := c.storedKJ()
		c.align()
		require.InDelta(t, before, c.storedKJ(), 1e-6*before)
		require.Zero(t, c.phi)
	}
}

// A wall with a film: at 400 cells the front has the width of the exact
// exchange of water and wall (Anzelius and Schumann) and of the mixing asked for,
// and a skewness of no less than the wall's.
func TestFrontOfWall(t *testing.T) {
	const n, beta, mixing, kgS = 400, 0.2, 0.015, 0.15
	for _, film := range []float64{15, 40} { // kW/K
		f := &Farm{s: Sample()}
		f.s.Loop.Cells, f.s.Loop.InletL, f.s.Loop.LeadL = n, 0, 0
		f.waterL, f.beta = 240, beta
		c := f.newChain(1, 1e-9, mixing)
		c.film = film / n
		c.fill(1)
		const kg = 0.3
		last, mean, second, third := 1.0, 0.0, 0.0, 0.0
		for moved := 0.0; moved < 3*f.waterL; moved += kg {
			out := c.flow(kg/kgS, kg, 0, 0, 0)
			d := last - out
			mean, second, third, last = mean+d*moved, second+d*moved*moved, third+d*moved*moved*moved, out
		}
		variance := second - mean*mean
		skew := (third - 3*mean*second + 2*mean*mean*mean) / math.Pow(variance, 1.5)
		pipeKg := c.cellKg * n
		ntu := film / (kgS * c.cpKJ)
		wall := 2 * beta * beta * pipeKg * pipeKg / ntu
		want := math.Sqrt(wall + math.Pow(mixing*pipeKg*(1+beta), 2))
		require.InDelta(t, want, math.Sqrt(variance), 0.005*want, "width, film %g", film)
		own := 6 * math.Pow(beta*pipeKg, 3) / (ntu * ntu) / (want * want * want)
		require.InDelta(t, own, skew, 0.05, "skewness, film %g", film)
		require.Greater(t, skew, own)
	}
}
