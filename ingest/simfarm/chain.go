package simfarm

import "math"

// chain is the pipe between the loop's two probes as a row of cells of equal
// water mass: unburied cells to first, buried ones to last, unburied ones to
// the outlet probe. All conductances are per cell, kW/K; capacities kJ/K.
type chain struct {
	n, first, last int
	cellKg         float64
	cpKJ           float64 // specific heat, kJ/(kg K)
	waterKJ        float64 // capacity of a cell's water
	wallKJ         float64 // and of its wall; 0 = no wall
	bedG, airG     float64 // wall to bed, wall to air
	film           float64 // water to wall, as it flows now
	stillFilm      float64
	mix            float64 // part of a cell that changes places per move
	mixNow         float64 // the same less what cells of this size spread by themselves

	water []float64 // n+1; index 0 is the parcel on its way in
	wall  []float64
	phi   float64 // how far parcels are beyond their cells, 0 to 1
	gone  float64 // the parcel that left last

	inSum, inKg float64 // collected in this half of the parcel
	firstHalf   float64

	bedKJ, airKJ float64 // heat taken from bed and air so far

	// slab, where there is one, by buried cell; bedG is then wall to slab.
	slab               []float64
	slabKJ, supplyG    float64
	cache              triple
	cacheDT, cacheFilm float64
}

// fill sets the pipe to one temperature.
func (c *chain) fill(tempC float64) {
	for i := range c.water {
		c.water[i] = tempC
	}
	for i := range c.wall {
		c.wall[i] = tempC
	}
	for i := range c.slab {
		c.slab[i] = tempC
	}
	c.gone, c.phi, c.inSum, c.inKg, c.firstHalf = tempC, 0, 0, 0, tempC
}

// storedKJ is the heat in water and wall above 0 degC, by the water inside.
func (c *chain) storedKJ() float64 {
	sum := 0.0
	for i := 1; i < c.n; i++ {
		sum += c.water[i] * c.waterKJ
	}
	sum += c.water[c.n] * c.waterKJ * (1 - c.phi)
	for _, t := range c.wall {
		sum += t * c.wallKJ
	}
	for _, t := range c.slab {
		sum += t * c.slabKJ
	}
	if c.phi >= 0.5 { // the first half, and what it took up, already counts
		return sum + c.water[0]*c.waterKJ/2 + c.inSum*c.cpKJ
	}
	return sum + c.inSum*c.cpKJ
}

// relax is the exact solution over dt of water x and wall y of one cell, both
// as differences to the surroundings:
//
//	x' = a (y - x),  y' = b (x - y) - g y
//
// past is the factor of x where the wall has settled between the two.
type relax struct{ xx, xy, yx, yy, past float64 }

func newRelax(dtS, film, toOut, waterKJ, wallKJ float64) relax {
	past := math.Exp(-film * toOut / (film + toOut) / waterKJ * dtS)
	if wallKJ == 0 {
		return relax{xx: past, past: past}
	}
	a, b, g := film/waterKJ, film/wallKJ, toOut/wallKJ
	mean := -(a + b + g) / 2
	root := math.Sqrt(mean*mean - a*g)
	e1, e2 := math.Exp((mean+root)*dtS), math.Exp((mean-root)*dtS)
	c0 := (e1 + e2) / 2
	c1 := (e1 - e2) / (2 * root)
	return relax{
		xx: c0 + c1*(-a-mean), xy: c1 * a,
		yx: c1 * b, yy: c0 + c1*(-b-g-mean), past: past,
	}
}

// apply relaxes n pairs and returns the heat they took up.
func (r relax) apply(water, wall []float64, outC, waterKJ, wallKJ float64) float64 {
	dw, ds := 0.0, 0.0
	if wallKJ == 0 {
		for i, t := range water {
			d := (r.xx - 1) * (t - outC)
			dw += d
			water[i] = t + d
		}
		return dw * waterKJ
	}
	wall = wall[:len(water)]
	for i, t := range water {
		x, y := t-outC, wall[i]-outC
		x2, y2 := r.xx*x+r.xy*y, r.yx*x+r.yy*y
		dw += x2 - x
		ds += y2 - y
		water[i], wall[i] = x2+outC, y2+outC
	}
	return dw*waterKJ + ds*wallKJ
}

// exchange lets every cell relax for dt; parcels more than half-way out of
// their cell face the next one's wall.
func (c *chain) exchange(dtS, film, bedC, airC float64) {
	bed := newRelax(dtS, film, c.bedG, c.waterKJ, c.wallKJ)
	air := newRelax(dtS, film, c.airG, c.waterKJ, c.wallKJ)
	w := c.water[1:]
	if c.phi >= 0.5 {
		w = c.water[:c.n]
	}
	c.airKJ += air.apply(w[:c.first], c.wall[:c.first], airC, c.waterKJ, c.wallKJ)
	if c.slab != nil {
		c.bedKJ += c.slabExchange(dtS, film, w[c.first:c.last], bedC)
	} else {
		c.bedKJ += bed.apply(w[c.first:c.last], c.wall[c.first:c.last], bedC, c.waterKJ, c.wallKJ)
	}
	c.airKJ += air.apply(w[c.last:], c.wall[c.last:], airC, c.waterKJ, c.wallKJ)
	c.beyond(bed, air, bedC, airC)
}

// beyond lets the parcels whose centres are past the outlet relax on as if the
// last zone went on: outC reads between centres. A parcel's stay is counted
// from centre in to centre out, so this heat is no one's.
func (c *chain) beyond(bed, air relax, bedC, airC float64) {
	zone, surround := air, airC
	if c.last == c.n {
		zone, surround = bed, bedC
	}
	rate := zone.past - 1
	c.gone += rate * (c.gone - surround)
	if c.phi >= 0.5 {
		c.water[c.n] += rate * (c.water[c.n] - surround)
	}
}

// outC is the water at the outlet probe: between the parcels' centres.
func (c *chain) outC(phi float64) float64 {
	if phi < 0.5 {
		return c.water[c.n]*(0.5+phi) + c.gone*(0.5-phi)
	}
	return c.water[c.n-1]*(phi-0.5) + c.water[c.n]*(1.5-phi)
}

// still lets the pipe stand for dt.
func (c *chain) still(dtS, bedC, airC float64) {
	c.align()
	c.exchange(dtS, c.stillFilm, bedC, airC)
	c.gone = c.water[c.n] // what stands at the probe is the last cell's water
}

// align puts the water back on whole cells when it comes to rest, each cell
// taking its share of the two parcels in it, so that every draw begins alike
// and the model is smooth in its parameters. Heat is kept; a front in the pipe
// spreads by at most half a cell.
func (c *chain) align() {
	if c.phi == 0 && c.inKg == 0 {
		return
	}
	collected := c.inSum / c.cellKg // of the parcel on its way in, in cells
	if c.phi >= 0.5 {
		collected += c.water[0] / 2
	}
	keep := 1 - c.phi
	for i := c.n; i > 1; i-- {
		c.water[i] = keep*c.water[i] + c.phi*c.water[i-1]
	}
	c.water[1] = keep*c.water[1] + collected
	c.phi, c.inSum, c.inKg = 0, 0, 0
}

// flow moves kg through the pipe within dt and returns the flow-weighted
// temperature at the outlet probe.
func (c *chain) flow(dtS, kg, inC, bedC, airC float64) (outC float64) {
	sum, left := 0.0, kg
	c.mixNow = max(0, c.mix-c.ownMix(dtS*c.cellKg/kg))
	for left > 1e-12 {
		goal := 0.5
		if c.phi >= 0.5 {
			goal = 1
		}
		part := min(left, (goal-c.phi)*c.cellKg)
		next := c.phi + part/c.cellKg
		if part < left || next > goal-1e-12 {
			next = goal
		}
		mid := (c.phi + next) / 2
		before := c.outC(mid)
		c.exchange(dtS*part/kg, c.film, bedC, airC)
		sum += part * (before + c.outC(mid)) / 2
		c.inSum += part * inC
		c.inKg += part
		c.phi = next
		left -= part
		c.cross()
	}
	return sum / kg
}

// cross settles the parcel on its way in at its half and, whole, moves the row.
func (c *chain) cross() {
	switch {
	case c.phi == 0.5 && c.inKg > 0:
		c.firstHalf = c.inSum / c.inKg
		c.water[0] = c.firstHalf
	case c.phi == 1 && c.inKg > 0:
		c.water[0] += (c.inSum/c.inKg - c.firstHalf) / 2
		c.gone = c.water[c.n]
		copy(c.water[1:], c.water[:c.n])
		c.phi = 0
		c.blur()
	default:
		return
	}
	c.inSum, c.inKg = 0, 0
}

// ownMix is the mixing that stands for the front's own spread in cells that
// water takes stayS to pass. A bit of heat leaves a parcel for the wall and
// comes back; in whole cells with exact relaxation between, n of them, the
// litres until it comes out have a variance, in cells, of
//
//	n beta (1 + beta) coth(theta/2),  theta = stayS film (1/C_water + 1/C_wall),
//
// where a wall without cells has 2/theta for the coth (Anzelius and Schumann:
// 2 beta² V²/N, N = film/(m c_p)); mixing of a part mix adds 2 n mix (1 + beta)².
func (c *chain) ownMix(stayS float64) float64 {
	if c.wallKJ == 0 {
		return 0
	}
	beta := c.wallKJ / c.waterKJ
	half := stayS * c.film * (1/c.waterKJ + 1/c.wallKJ) / 2
	excess := half / 3 // of the series, better than the difference of two large numbers
	if half > 0.01 {
		excess = 1/math.Tanh(half) - 1/half
	}
	return beta * excess / (2 * (1 + beta))
}

// blur is the wanted axial mixing: neighbours change places by a part mixNow.
func (c *chain) blur() {
	if c.mixNow == 0 {
		return
	}
	flux := 0.0 // from the cell before
	for i := 1; i < c.n; i++ {
		next := c.mixNow * (c.water[i] - c.water[i+1])
		c.water[i] += flux - next
		flux = next
	}
	c.water[c.n] += flux
}
