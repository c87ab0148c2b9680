package simfarm

import (
	"math"
	"math/rand/v2"
	"strings"
)

// role is whose error it is: a probe's, a meter's or a stipulated figure's.
type role int

const (
	eMains role = iota
	eLoopOut
	eBed
	ePlateIn
	ePlateOut
	eWash
	eMilkIn
	eMilkOut
	eTank // tank, gas and air probes: in no headline figure
	eGas
	eAir
	eSlab
	gLoop // gains from here on
	gPlate
	gWash
	gElement
	gCompressor
	gMilk
	gPump // stated pump power
	xHeatC
	xDensity
	xGain
	xLength
	xWall       // of 1 + beta
	xEfficiency // in its own unit
	xTank       // stated tank volume
	roles
)

// roleKeys are the rows of [errors] by role; the wall has none.
var roleKeys = [roles]string{
	"mains_temp", "loop_out_temp", "bed_temp", "plate_in_temp", "plate_out_temp", "wash_temp", "milk_in_temp", "milk_out_temp",
	"tank_temp", "gas_in_temp", "air_temp", "slab_temp",
	"loop_volume", "plate_volume", "wash_volume", "element_energy", "compressor_energy", "milk_volume", "pumps.plate_kw",
	"milk.specific_heat_kj_per_kg_k", "milk.density_kg_per_l", "plant.standing_gain_kw", "loop.length_m", "", "instead.efficiency", "tank.volume_l",
}

// aliases: flow meters and clamps state their error under what they log.
var aliases = map[string]string{
	"loop_in_temp": "mains_temp", "loop.draw_l": "loop_volume", "loop.flow_l_min": "loop_volume",
	"loop_flow": "loop_volume", "plate_flow": "plate_volume", "wash_flow": "wash_volume",
	"element_power": "element_energy", "compressor_power": "compressor_energy", "outdoor_temp": "air_temp",
}

func roleOf(key string) (role, bool) {
	if a, ok := aliases[key]; ok {
		key = a
	}
	for r, k := range roleKeys {
		if k == key && k != "" {
			return role(r), true
		}
	}
	return 0, false
}

// z95 is the normal quantile at 97.5 %.
const z95 = 1.959964

// standard is the standard deviation that a stated error means: half/1.96 of a
// normal half-width at 95 %, limit/sqrt(3) of rectangular limits.
func (s Stated) standard() float64 {
	if s.Rectangular {
		return s.Half / math.Sqrt(3)
	}
	return s.Half / z95
}

// draw takes one error from what is stated.
func (s Stated) draw(r *rand.Rand) float64 {
	if s.Rectangular {
		return s.Half * (2*r.Float64() - 1)
	}
	return s.standard() * r.NormFloat64()
}

// errorsOf are errors by role.
type errorsOf [roles]float64

// pipeWall is how well the wall is known: relative half-width of 1 + beta.
// Stated: 5 % of beta. Not stated: beta is 0.20 +- 0.08 (common plastic pipe).
func (l Loop) pipeWall() (beta float64, wall Stated) {
	beta, half := 0.20, 0.08
	if l.WallMM > 0 {
		outer := l.BoreMM + 2*l.WallMM
		section := (outer*outer - l.BoreMM*l.BoreMM) / (l.BoreMM * l.BoreMM)
		beta = section * l.WallMJPerM3K / (cpKJPerKgK * rhoAt(loopMeanC) / 1000)
		half = 0.05 * beta
	}
	return beta, Stated{Half: half / (1 + beta), Relative: true}
}

// loopMeanC is the temperature at which the pipe's content is reckoned.
const loopMeanC = 28

// drawErrors takes every error from what is stated about it, in the order of
// the columns and rows, so that a seed means the same errors always. Probes of
// one quantity have errors of their own; the role's error is their mean.
func (f *Farm) drawErrors() {
	rng := rand.New(rand.NewPCG(f.s.Seed, 0xe4404))
	_, wall := f.s.Loop.pipeWall()
	f.sd[xWall], f.errs[xWall] = wall.standard(), wall.draw(rng)
	n := [roles]int{}
	for li := range f.s.Loggers {
		f.columnErrs = append(f.columnErrs, make([]float64, len(f.s.Loggers[li].Columns)))
		for ci, c := range f.s.Loggers[li].Columns {
			st, ok := f.statedFor(c.Quantity)
			r, known := roleOf(c.Quantity)
			if !ok || !known {
				continue
			}
			e := st.draw(rng)
			f.columnErrs[li][ci] = e
			f.drawn = append(f.drawn, f.named(f.s.Loggers[li].probe(ci), c.Quantity, st, e))
			f.errs[r] += e
			f.sd[r] = st.standard()
			n[r]++
		}
	}
	f.compare(f.noise(0x3a7c)) // a stream of its own: the farm stays what it is without
	for r := range n {
		if n[r] > 1 {
			f.errs[r] /= float64(n[r])
			f.sd[r] /= math.Sqrt(float64(n[r]))
		}
	}
	for _, st := range f.s.Errors {
		r, known := roleOf(st.Key)
		if !known || n[r] > 0 {
			continue
		}
		f.errs[r], f.sd[r] = st.draw(rng), st.standard()
		f.drawn = append(f.drawn, f.named(st.Key, st.Key, st, f.errs[r]))
	}
}

// compare holds the probes of [[matched]] against each other: what is read there
// is their difference with a noise of its own. With Offset that is stated. Without,
// the errors are moved to where they read alike, as drawing them until they do
// would leave them (for normal errors exactly so): by their variances.
func (f *Farm) compare(rng *rand.Rand) {
	for i, m := range f.s.Matched {
		f.offsetsK = append(f.offsetsK, 0)
		a, b := f.columnOf(m.Keys[0]), f.columnOf(m.Keys[1])
		if m.Find || a == nil || b == nil {
			continue
		}
		noise := m.WithinK / z95
		read := *a - *b + noise*rng.NormFloat64()
		if m.Offset {
			f.offsetsK[i] = rounded(read, 3)
			continue
		}
		sa, _ := f.statedFor(m.Keys[0])
		sb, _ := f.statedFor(m.Keys[1])
		va, vb := sa.standard()*sa.standard(), sb.standard()*sb.standard()
		f.move(m.Keys[0], a, -read*va/(va+vb+noise*noise))
		f.move(m.Keys[1], b, read*vb/(va+vb+noise*noise))
	}
}

// columnOf is the error of the first column of a quantity.
func (f *Farm) columnOf(quantity string) *float64 {
	for li := range f.columnErrs {
		for ci := range f.columnErrs[li] {
			if f.s.Loggers[li].Columns[ci].Quantity == quantity {
				return &f.columnErrs[li][ci]
			}
		}
	}
	return nil
}

// move changes a column's error wherever it is kept.
func (f *Farm) move(quantity string, e *float64, by float64) {
	*e += by
	if r, ok := roleOf(quantity); ok {
		f.errs[r] += by
	}
	for i := range f.drawn {
		if f.drawn[i].Key == quantity {
			f.drawn[i].Error += by
			return
		}
	}
}

// probe names a column's probe: "log: header as farm.toml names it".
func (l *Logger) probe(column int) string {
	return l.Name + ": " + strings.Replace(l.Columns[column].header(l), "|", " ", 1)
}

func (f *Farm) statedFor(quantity string) (Stated, bool) {
	for _, st := range f.s.Errors {
		if st.Key == quantity {
			return st, true
		}
	}
	return Stated{}, false
}

// Drawn is one error as drawn.
type Drawn struct {
	// Probe: "log: header", the milkings' column, or a farm-file key.
	Probe     string  `json:"probe"`
	Key       string  `json:"key"`
	Error     float64 `json:"error"` // reading minus truth; relative for percentages
	Half      float64 `json:"half_width"`
	Relative  bool    `json:"relative"`
	Rectangle bool    `json:"limits"`
}

func (f *Farm) named(probe, key string, st Stated, e float64) Drawn {
	return Drawn{probe, key, e, st.Half, st.Relative, st.Rectangular}
}
