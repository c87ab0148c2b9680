package simfarm

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Slab is a store between pipe and bed: concrete, say, that holds far more heat
// than the water. Zero: the pipe lies in the bed. Loop.UAWPerK is then the
// water's side, film, wall and slab.
type Slab struct {
	CapacityKJPerK float64
	// SupplyWPerK from bed to slab.
	SupplyWPerK float64
	// ProbeOffsetK: a probe in the slab reads its mean and this.
	ProbeOffsetK float64
}

// setSlab gives the chain's buried cells a slab each.
func (c *chain) setSlab(s Slab) {
	if s.CapacityKJPerK == 0 {
		return
	}
	cells := float64(c.last - c.first)
	c.slab = make([]float64, c.last-c.first)
	c.slabKJ, c.supplyG = s.CapacityKJPerK/cells, s.SupplyWPerK/1000/cells
}

// triple is what a time does to water, wall and slab less the bed.
type triple [3][3]float64

func (a *triple) times(b *triple) (c triple) {
	for i := range 3 {
		for j := range 3 {
			c[i][j] = a[i][0]*b[0][j] + a[i][1]*b[1][j] + a[i][2]*b[2][j]
		}
	}
	return c
}

// newTriple is e^(A dt) for a cell with a slab by scaling and squaring: the
// series to the sixth power at dt/2^n with norm under 1/16 (error under 1e-12),
// squared n times. A is that of
//
//	x' = film/C (y - x)
//	y' = film/C_w (x - y) - g/C_w (y - z)
//	z' = g/C_s (y - z) - supply/C_s z
func newTriple(dtS, film, wallG, supplyG, waterKJ, wallKJ, slabKJ float64) triple {
	a := triple{
		{-film / waterKJ, film / waterKJ, 0},
		{film / wallKJ, -(film + wallG) / wallKJ, wallG / wallKJ},
		{0, wallG / slabKJ, -(wallG + supplyG) / slabKJ},
	}
	n := max(0, math.Ceil(math.Log2(2*(film+wallG)/wallKJ*dtS*16)))
	h := dtS / math.Exp2(n)
	for i := range a {
		for j := range a[i] {
			a[i][j] *= h
		}
	}
	sum, power := triple{{1}, {0, 1}, {0, 0, 1}}, triple{{1}, {0, 1}, {0, 0, 1}}
	factor := 1.0
	for k := 1.0; k <= 6; k++ {
		power, factor = power.times(&a), factor/k
		for i := range sum {
			for j := range sum[i] {
				sum[i][j] += factor * power[i][j]
			}
		}
	}
	for range int(n) {
		sum = sum.times(&sum)
	}
	return sum
}

// slabExchange relaxes the buried cells, water w facing them, and returns the
// heat that the bed gave.
func (c *chain) slabExchange(dtS, film float64, w []float64, bedC float64) (tookKJ float64) {
	if c.cacheDT != dtS || c.cacheFilm != film {
		c.cache, c.cacheDT, c.cacheFilm = newTriple(dtS, film, c.bedG, c.supplyG, c.waterKJ, c.wallKJ, c.slabKJ), dtS, film
	}
	m := c.cache
	for i, z := range c.slab {
		x, y, z := w[i]-bedC, c.wall[c.first+i]-bedC, z-bedC
		x2, y2, z2 := m[0][0]*x+m[0][1]*y+m[0][2]*z, m[1][0]*x+m[1][1]*y+m[1][2]*z, m[2][0]*x+m[2][1]*y+m[2][2]*z
		tookKJ += (x2-x)*c.waterKJ + (y2-y)*c.wallKJ + (z2-z)*c.slabKJ
		w[i], c.wall[c.first+i], c.slab[i] = x2+bedC, y2+bedC, z2+bedC
	}
	return tookKJ
}

// slabC is the slab's mean; the bed's temperature where there is none.
func (c *chain) slabC(bedC float64) float64 {
	if len(c.slab) == 0 {
		return bedC
	}
	sum := 0.0
	for _, t := range c.slab {
		sum += t
	}
	return sum / float64(len(c.slab))
}

// WithSlab is a random farm of 60 to 75 days, for seeds from 1, whose loop lies
// in a slab; half of them have a probe in it. Two refills a day of 1.05 to 1.75
// loops. Without slab the same farm has its pipe in the bed.
func WithSlab(seed uint64, slab bool) Scenario {
	r := rand.New(rand.NewPCG(seed, 0x51ab))
	s := Short(seed)
	s.Name = fmt.Sprintf("Simulated farm %d with a slab", seed)
	s.Days = 60 + r.IntN(16)
	s.Loop.Cells = 160
	low := between(r, 1.05, 1.35)
	s.Loop.LengthM = math.Round(s.Loop.LengthM * (s.Loop.DrawLow + s.Loop.DrawHigh) / (2*low + 0.4))
	s.Loop.DrawLow, s.Loop.DrawHigh = low, low+0.4
	// Water-side UA by what a lasting flow would take: 0.8 to 2 transfer units.
	c := s.Loop.FlowLMin / 60 * 4180
	still := 0.54 * math.Pi * s.Loop.BoreMM / 1000 * s.Loop.LengthM * s.Loop.StillFilmWPerM2K
	s.Loop.UAWPerK = min(c*between(r, 0.8, 2), still)
	if !slab {
		s.Name = fmt.Sprintf("Simulated farm %d without a slab", seed)
		return s
	}
	// The bed is large and keeps its warmth; what is drawn comes from the slab.
	s.Bed.CapacityKWhPerK, s.Bed.RecoverH = 2000, 24
	waterKJ := 4.18 * math.Pi / 4000 * s.Loop.BoreMM * s.Loop.BoreMM * s.Loop.LengthM
	s.Slab.CapacityKJPerK = waterKJ * between(r, 8, 30)
	s.Slab.SupplyWPerK = s.Slab.CapacityKJPerK / 3.6 / between(r, 4, 16)
	s.Slab.ProbeOffsetK = between(r, -1, 1)
	if r.IntN(2) == 0 {
		s.Errors = append(s.Errors, Stated{Key: "slab_temp", Half: 0.3})
		s.Loggers[0].Columns = append(s.Loggers[0].Columns,
			Column{Header: "Slab", Unit: "°C", Quantity: "slab_temp", Signal: SlabProbe, Decimals: 2, Step: 0.1, NoiseK: 0.02})
	}
	return s
}
