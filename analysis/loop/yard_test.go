package loop

import (
	"math"
	"math/rand/v2"
)

// yard is an invented farm for the tests: a pipe of cells, each water beside a
// wall with its own temperature, film and bed in series, the water pushed by
// whole cells. It shares no code with the model under test.
type yard struct {
	days            int
	volumeL, beta   float64 // water in the pipe, wall's share
	uaBed           float64 // W/K, wall to bed, whole pipe
	filmFlow, still float64 // W/K, water to wall
	perDraw         float64 // litres
	drawLMin        float64
	longEvery       int     // every so many days one draw of 1.6 loops; 0 never
	offset          float64 // bed at the pipe minus bed at the probe
	lagS, leadL     float64
	noise, step     float64 // K: noise, resolution
	seed            uint64
	errs            Errors
}

func defaultYard(seed uint64) yard {
	return yard{days: 60, volumeL: 320, beta: 0.2, uaBed: 180, filmFlow: 25000, still: 4000, perDraw: 350, drawLMin: 9,
		longEvery: 5, offset: -1.5, lagS: 30, leadL: 4, noise: 0.05, step: 0.1, seed: seed}
}

// uaWPerK is the truth: film and bed in series while water flows.
func (y yard) uaWPerK() float64 { return 1 / (1/y.filmFlow + 1/y.uaBed) }

const yardCells = 240

// relaxation is what the step dt does to (water, wall) above the bed: the
// matrix exponential by 2^10 small steps.
func (y yard) relaxation(film, dt float64) (m [2][2]float64) {
	cw := y.volumeL * 4.18e3
	c := [2][2]float64{{-film / cw, film / cw}, {film / (cw * y.beta), -(film + y.uaBed) / (cw * y.beta)}}
	h := dt / 1024
	for i := range 2 {
		for j := range 2 {
			second := c[i][0]*c[0][j] + c[i][1]*c[1][j]
			m[i][j] = h*c[i][j] + h*h/2*second
		}
		m[i][i]++
	}
	for range 10 {
		a := m
		for i := range 2 {
			for j := range 2 {
				m[i][j] = a[i][0]*a[0][j] + a[i][1]*a[1][j]
			}
		}
	}
	return m
}

// plan is the flow of each minute.
func (y yard) plan(rng *rand.Rand) []float64 {
	q := make([]float64, y.days*1440)
	for d := range y.days {
		for k, at := range []int{330, 960} {
			start := d*1440 + at + rng.IntN(30)
			litres := y.perDraw * (0.85 + 0.3*rng.Float64())
			if y.longEvery > 0 && k == 0 && d%y.longEvery == 1 {
				litres = 1.6 * y.volumeL * (1 + y.beta)
			}
			rate := y.drawLMin * (0.9 + 0.2*rng.Float64())
			for m := start; m < len(q) && litres > 0; m++ {
				q[m] = math.Min(rate, litres)
				litres -= q[m]
			}
		}
	}
	return q
}

// record runs the yard and logs it by the minute.
func (y yard) record() Input {
	rng := rand.New(rand.NewPCG(y.seed, 17))
	q := y.plan(rng)
	const sub = 12 // 5 s
	flowing, resting := y.relaxation(y.filmFlow, 60/sub), y.relaxation(y.still, 60/sub)
	water, wall := make([]float64, yardCells), make([]float64, yardCells)
	for i := range water {
		water[i], wall[i] = 35, 35
	}
	cellL := y.volumeL / yardCells
	lead := make([]float64, int(y.leadL/cellL))
	n := len(q)
	flow, inC, outC, bedC := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	owed, inProbe, outProbe := cellL/2, 12.0, 20.0
	atOut := 20.0
	for m := range n {
		h := float64(m) / 60
		bed := 46 + 2*math.Sin(h/24/9) + 1.2*math.Sin(2*math.Pi*h/24+1)
		supply := 8 + 1.5*math.Sin(h/24/20)
		for s := range sub {
			step := resting
			if q[m] > 0 {
				step = flowing
			}
			for i := range water {
				a, b := water[i]-bed, wall[i]-bed
				water[i], wall[i] = bed+step[0][0]*a+step[0][1]*b, bed+step[1][0]*a+step[1][1]*b
			}
			atIn := 16.0
			if q[m] > 0 {
				atIn = supply
				owed += q[m] / sub
				for ; owed >= cellL; owed -= cellL {
					atOut = water[yardCells-1]
					copy(water[1:], water)
					water[0] = supply
					if len(lead) > 0 {
						first := lead[len(lead)-1]
						copy(lead[1:], lead)
						lead[0], atOut = atOut, first
					}
				}
			} else {
				atOut += (14 - atOut) * 5 / 1200
				for i := range lead {
					lead[i] += (14 - lead[i]) * 5 / 1200
				}
			}
			inProbe += (atIn - inProbe) * (1 - math.Exp(-5/math.Max(y.lagS, 0.1)))
			outProbe += (atOut - outProbe) * (1 - math.Exp(-5/math.Max(y.lagS, 0.1)))
			if s == sub/2-1 {
				inC[m], outC[m] = y.read(rng, inProbe, y.errs.InK), y.read(rng, outProbe, y.errs.OutK)
				bedC[m] = y.read(rng, bed-y.offset, y.errs.BedK)
			}
		}
		flow[m] = q[m] * (1 + y.errs.Flow)
	}
	in := FromCells(60, flow, inC, outC, bedC)
	in.LeadL = y.leadL
	in.Pipe = Pipe{LengthM: y.volumeL * 1000 / (math.Pi / 4 * 26 * 26), BoreMM: 26}
	return in
}

func (y yard) read(rng *rand.Rand, c, err float64) float64 {
	v := c + err + y.noise*rng.NormFloat64()
	if y.step > 0 {
		v = math.Round(v/y.step) * y.step
	}
	return v
}
