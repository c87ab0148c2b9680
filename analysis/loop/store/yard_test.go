package store

import (
	"math"
	"math/rand/v2"

	"yardheat/analysis/loop"
)

// yard is an invented farm for the tests: a pipe in a slab as cells of water and
// slab, moved by whole cells and stepped by the midpoint rule. It shares no code
// with the model under test.
type yard struct {
	days, before  int     // logged; and in use before that
	volumeL       float64 // thermal
	ua, supply    float64 // W/K
	slabKJ        float64 // kJ/K; 0: the pipe lies in the bed
	perDraw, rate float64 // L, L/min
	offset, leadL float64
	noise         float64
	seed          uint64
	probe         bool // in the slab
	probeOff      float64
}

func defaultYard(seed uint64) yard {
	return yard{days: 45, volumeL: 360, ua: 700, supply: 450, slabKJ: 16000, perDraw: 480, rate: 9, offset: -1.2, leadL: 4, noise: 0.05, seed: seed}
}

const yardCells = 150

func (y yard) capacityJ() float64 { return y.volumeL * 4.16e3 }

// relax steps all cells by dt.
func (y yard) relax(water, slab []float64, bed, dt float64) {
	if y.slabKJ == 0 {
		e := math.Exp(-y.ua / y.capacityJ() * dt)
		for i := range water {
			water[i] = bed + (water[i]-bed)*e
		}
		return
	}
	a, q, p := y.ua/y.capacityJ(), y.ua/y.slabKJ/1000, y.supply/y.slabKJ/1000
	for i, x := range water {
		s := slab[i]
		mx, ms := x+dt/2*a*(s-x), s+dt/2*(p*(bed-s)-q*(s-x))
		water[i], slab[i] = x+dt*a*(ms-mx), s+dt*(p*(bed-ms)-q*(ms-mx))
	}
}

// record runs the yard and logs it by the minute; the refills' start and litres
// vary, now and then one is missed.
func (y yard) record() Input {
	rng := rand.New(rand.NewPCG(y.seed, 23))
	n := (y.before + y.days) * 1440
	q := make([]float64, n)
	for d := range y.before + y.days {
		for _, at := range []int{330, 960} {
			start, litres := d*1440+at+rng.IntN(30), y.perDraw*(0.75+0.5*rng.Float64())
			rate := y.rate * (0.9 + 0.2*rng.Float64())
			if rng.IntN(12) == 0 {
				continue
			}
			for m := start; m < n && litres > 0; m++ {
				q[m] = math.Min(rate, litres)
				litres -= q[m]
			}
		}
	}
	water, slab := make([]float64, yardCells), make([]float64, yardCells)
	start := 36.0
	if y.slabKJ > 0 { // as after weeks of such refills
		start = 45 - 2*y.perDraw*4160*25/86400/y.supply
	}
	for i := range water {
		water[i], slab[i] = start, start
	}
	cellL := y.volumeL / yardCells
	lead := make([]float64, int(1.2*y.leadL/cellL+0.5))
	inC, outC, bedC, slabC := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	owed, probe, atOut := cellL/2, 20.0, 20.0
	for m := range n {
		h := float64(m) / 60
		bed := 45 + 2*math.Sin(h/24/9) + 0.4*math.Sin(2*math.Pi*h/24+1)
		supply := 8 + 1.5*math.Sin(h/24/20)
		if q[m] == 0 {
			y.relax(water, slab, bed, 60)
			atOut += (14 - atOut) * 60 / 1200
			for i := range lead {
				lead[i] += (14 - lead[i]) * 60 / 1200
			}
			probe += (atOut - probe) * (1 - math.Exp(-2))
		} else {
			for range 12 {
				y.relax(water, slab, bed, 5)
				owed += q[m] / 12
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
				probe += (atOut - probe) * (1 - math.Exp(-5.0/30))
			}
		}
		read := func(c float64) float64 { return math.Round((c+y.noise*rng.NormFloat64())/0.05) * 0.05 }
		inC[m], outC[m], bedC[m], slabC[m] = read(supply), read(probe), read(bed-y.offset), read(mean(slab)+y.probeOff)
	}
	from := y.before * 1440
	q, inC, outC, bedC, slabC = q[from:], inC[from:], outC[from:], bedC[from:], slabC[from:]
	x := Input{Input: loop.FromEdges(60, q, edges(inC), edges(outC), bedC)}
	x.LeadL = y.leadL
	x.Pipe = loop.Pipe{LengthM: y.volumeL / 1.2 * 1000 / (math.Pi / 4 * 40 * 40), BoreMM: 40}
	if y.probe {
		x.SlabC = edges(slabC)
	}
	return x
}

// edges shifts values read at the ends of minutes to the edges of cells.
func edges(v []float64) []float64 { return append([]float64{v[0]}, v...) }
