package farm

import (
	"fmt"
	"slices"
)

// Milk where the farm states no figures of its own.
//
// Specific heat: 3.93 kJ/(kg K), whole milk, average where no temperature is
// given (Indian dairy e-course, ICAR-IASRI, Dairy Engineering, lesson 3; Fox
// and McSweeney, Dairy Chemistry and Biochemistry, 11.9, has 3.931 at 80 °C).
// Density: 1.030 kg/L, producer milk with 4.0 % fat at 20 °C (Goff, Dairy
// Chemistry and Physics, University of Guelph). Limit: 6 °C, milk not
// collected daily, Regulation (EC) No 853/2004, Annex III, Section IX, Chapter
// I, part II. See testdata/check-values/trade/trade_constants.csv.
const (
	MilkSpecificHeatKJPerKgK = 3.93
	MilkDensityKgPerL        = 1.030
	MilkLimitC               = 6.0
)

// Bounds of the built things: wider than any farm, narrower than a slip of the
// unit (common practice, no source).
var (
	powerKW = above0(500, "kW")
	flowLM  = above0(500, "L/min")
)

// heatTables reads what is built: loop, plate, tanks, wash, mains, milk,
// plant, element, pumps.
func (r *reader) heatTables(t *tab, f *Farm) {
	if lt := t.table("loop"); lt != nil {
		f.Loop = r.loop(lt)
	}
	if pt := t.table("plate"); pt != nil {
		p := &Plate{MeterAt: "in"}
		pt.choice("meter_at", &p.MeterAt, "in", "out")
		pt.number("flow_l_min", &p.FlowLMin, flowLM)
		pt.close(nil)
		f.Plate = p
	}
	f.Tanks = r.tanks(t)
	if wt := t.table("wash"); wt != nil {
		f.Wash = r.wash(wt)
	}
	f.MainsC = r.mains(t)
	f.Milk = r.milk(t)
	if pt := t.table("plant"); pt != nil {
		p := &Plant{}
		pt.number("compressor_kw", &p.CompressorKW, powerKW)
		p.HasStandingGain = pt.number("standing_gain_kw", &p.StandingGainKW, span(0, 100, "kW"))
		pt.text("refrigerant", &p.Refrigerant)
		pt.close(nil)
		f.Plant = p
	}
	if et := t.table("element"); et != nil {
		f.Element = &Element{}
		et.number("power_kw", &f.Element.PowerKW, powerKW)
		et.close(nil)
	}
	if pt := t.table("pumps"); pt != nil {
		f.Pumps = &Pumps{}
		pt.number("loop_kw", &f.Pumps.LoopKW, above0(100, "kW"))
		pt.number("plate_kw", &f.Pumps.PlateKW, above0(100, "kW"))
		pt.close(nil)
	}
}

func (r *reader) loop(t *tab) *Loop {
	l := &Loop{Branches: 1, MeterAt: "in", Circuit: "open", Fluid: "water"}
	t.need("length_m", "the length of pipe in the bed, all branches together, in m")
	t.need("bore_mm", "the inside diameter of the pipe in mm")
	t.number("length_m", &l.LengthM, above0(20000, "m"))
	t.number("bore_mm", &l.BoreMM, span(5, 200, "mm"))
	t.number("wall_mm", &l.WallMM, above0(30, "mm"))
	r.pipe(t, l)
	t.yes("apply_gain", &l.ApplyGain)
	t.integer("branches", &l.Branches, span(1, 200, ""))
	t.number("bed_area_m2", &l.BedAreaM2, above0(100000, "m2"))
	l.HasLead = t.number("lead_l", &l.LeadL, span(0, 1000, "L"))
	t.choice("meter_at", &l.MeterAt, "in", "out")
	t.choice("circuit", &l.Circuit, "open", "closed")
	r.fluid(t, l)
	t.number("draw_l", &l.DrawL, above0(100000, "L"))
	t.number("flow_l_min", &l.FlowLMin, flowLM)
	t.close(homes{"volume_l": "[tank]", "target_c": "[wash]", "loop_kw": "[pumps]"})
	return l
}

// wallHeat bounds a wall's heat capacity: metals reach 3.9, foams 0.1.
var wallHeat = span(0.1, 5, "MJ/(m3 K)")

var pipes = []string{"PE", "PEX", "PP", "copper", "steel"}

// pipe reads the wall's stuff: a name, or its heat capacity.
func (r *reader) pipe(t *tab, l *Loop) {
	stated := t.number("wall_mj_per_m3_k", &l.WallMJPerM3K, wallHeat)
	e := t.node.find("pipe")
	if e != nil && e.val.kind == isTable {
		t.get("pipe")
		p := &tab{r: r, path: t.key("pipe"), node: e.val}
		p.need("wall_mj_per_m3_k", wallHeat.String())
		p.number("wall_mj_per_m3_k", &l.WallMJPerM3K, wallHeat)
		p.close(nil)
	} else if t.choice("pipe", &l.Pipe, pipes...) && stated {
		t.bad(e, "either pipe or wall_mj_per_m3_k", "take one of them out")
	}
}

// fluid reads "water" or { propylene_glycol_pct = 30 }.
func (r *reader) fluid(t *tab, l *Loop) {
	e := t.node.find("fluid")
	if e == nil || e.val.kind != isTable {
		t.choice("fluid", &l.Fluid, "water")
		return
	}
	t.get("fluid")
	p := &tab{r: r, path: t.key("fluid"), node: e.val}
	p.need("propylene_glycol_pct", "the share of propylene glycol in %")
	if p.number("propylene_glycol_pct", &l.GlycolPct, span(0, 100, "%")) && l.GlycolPct > 0 {
		l.Fluid = "propylene glycol"
	}
	p.close(nil)
}

func (r *reader) tanks(t *tab) []Tank {
	var out []Tank
	var names []string
	for _, tt := range t.tables("tank") {
		var k Tank
		tt.text("name", &k.Name)
		tt.choice("role", &k.Role, "preheat", "hot")
		tt.need("volume_l", "the tank's volume in L")
		tt.number("volume_l", &k.VolumeL, above0(1e6, "L"))
		if e := tt.node.find("name"); e != nil && k.Name != "" && slices.Contains(names, k.Name) {
			tt.bad(e, "a name of its own for each tank", "rename one of them")
		}
		names = append(names, k.Name)
		if lt := tt.table("layers"); lt != nil {
			k.Layers = map[string]float64{}
			for i := range lt.node.keys {
				e := &lt.node.keys[i]
				var h float64
				if r.place(e.line, lt.key(e.key), e.key) && lt.numberIn(e, e.val, &h, span(0, 1, "(0 is the floor, 1 the top)")) {
					k.Layers[e.key] = h
				}
			}
		}
		tt.close(nil)
		out = append(out, k)
	}
	return out
}

func (r *reader) wash(t *tab) *Wash {
	w := &Wash{MeterAt: "hot"}
	w.HasTarget = t.number("target_c", &w.TargetC, span(20, 100, "°C"))
	w.HasHeatTo = t.number("heat_to_c", &w.HeatToC, span(20, 100, "°C"))
	t.choice("meter_at", &w.MeterAt, "hot", "cold")
	t.close(nil)
	return w
}

// mains reads one figure or twelve by month.
func (r *reader) mains(t *tab) []float64 {
	mt := t.table("mains")
	if mt == nil {
		return nil
	}
	b := span(-5, 40, "°C")
	e := mt.get("temp_c")
	mt.need("temp_c", "the cold feed's temperature in °C, one figure or twelve by month")
	mt.close(nil)
	switch {
	case e == nil:
		return nil
	case e.val.kind != isList:
		var v float64
		if mt.numberIn(e, e.val, &v, b) {
			return []float64{v}
		}
		return nil
	case len(e.val.items) != 12:
		mt.r.add(e.val.line, mt.key(e.key), fmt.Sprintf("%d figures", len(e.val.items)), "one figure, or twelve from January to December", "complete the list")
		return nil
	}
	out := make([]float64, 12)
	for i, n := range e.val.items {
		mt.numberIn(e, n, &out[i], b)
	}
	return out
}

func (r *reader) milk(t *tab) Milk {
	m := Milk{SpecificHeatKJPerKgK: MilkSpecificHeatKJPerKgK, DensityKgPerL: MilkDensityKgPerL, LimitC: MilkLimitC}
	mt := t.table("milk")
	if mt == nil {
		return m
	}
	m.SpecificHeatStated = mt.number("specific_heat_kj_per_kg_k", &m.SpecificHeatKJPerKgK, span(3, 4.3, "kJ/(kg K)"))
	m.DensityStated = mt.number("density_kg_per_l", &m.DensityKgPerL, span(0.95, 1.1, "kg/L"))
	mt.yes("precooled", &m.Precooled)
	mt.number("limit_c", &m.LimitC, span(0, 20, "°C"))
	mt.close(nil)
	return m
}
