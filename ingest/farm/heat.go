package farm

import (
	"fmt"
	"slices"

	"yardheat/ingest/farm/keyed"
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
	powerKW = keyed.Above0(500, "kW")
	flowLM  = keyed.Above0(500, "L/min")
)

// heatTables reads what is built: loop, plate, tanks, wash, mains, milk,
// plant, element, pumps.
func (r *reader) heatTables(t *keyed.Tab, f *Farm) {
	if lt := t.Table("loop"); lt != nil {
		f.Loop = r.loop(lt)
	}
	if pt := t.Table("plate"); pt != nil {
		p := &Plate{MeterAt: "in"}
		pt.Choice("meter_at", &p.MeterAt, "in", "out")
		pt.Number("flow_l_min", &p.FlowLMin, flowLM)
		pt.Close(nil)
		f.Plate = p
	}
	f.Tanks = r.tanks(t)
	if wt := t.Table("wash"); wt != nil {
		f.Wash = r.wash(wt)
	}
	f.MainsC = r.mains(t)
	f.Milk = r.milk(t)
	if pt := t.Table("plant"); pt != nil {
		p := &Plant{}
		pt.Number("compressor_kw", &p.CompressorKW, powerKW)
		p.HasStandingGain = pt.Number("standing_gain_kw", &p.StandingGainKW, keyed.Span(0, 100, "kW"))
		pt.Text("refrigerant", &p.Refrigerant)
		pt.Close(nil)
		f.Plant = p
	}
	if et := t.Table("element"); et != nil {
		f.Element = &Element{}
		et.Number("power_kw", &f.Element.PowerKW, powerKW)
		et.Close(nil)
	}
	if pt := t.Table("pumps"); pt != nil {
		f.Pumps = &Pumps{}
		pt.Number("loop_kw", &f.Pumps.LoopKW, keyed.Above0(100, "kW"))
		pt.Number("plate_kw", &f.Pumps.PlateKW, keyed.Above0(100, "kW"))
		pt.Close(nil)
	}
}

func (r *reader) loop(t *keyed.Tab) *Loop {
	l := &Loop{Branches: 1, MeterAt: "in", Circuit: "open", Fluid: "water"}
	t.Need("length_m", "the length of pipe in the bed, all branches together, in m")
	t.Need("bore_mm", "the inside diameter of the pipe in mm")
	t.Number("length_m", &l.LengthM, keyed.Above0(20000, "m"))
	t.Number("bore_mm", &l.BoreMM, keyed.Span(5, 200, "mm"))
	t.Number("wall_mm", &l.WallMM, keyed.Above0(30, "mm"))
	r.pipe(t, l)
	t.Yes("apply_gain", &l.ApplyGain)
	t.Integer("branches", &l.Branches, keyed.Span(1, 200, ""))
	t.Number("bed_area_m2", &l.BedAreaM2, keyed.Above0(100000, "m2"))
	l.HasLead = t.Number("lead_l", &l.LeadL, keyed.Span(0, 1000, "L"))
	t.Choice("meter_at", &l.MeterAt, "in", "out")
	t.Choice("circuit", &l.Circuit, "open", "closed")
	r.fluid(t, l)
	t.Number("draw_l", &l.DrawL, keyed.Above0(100000, "L"))
	t.Number("flow_l_min", &l.FlowLMin, flowLM)
	t.Close(keyed.Homes{"volume_l": "[tank]", "target_c": "[wash]", "loop_kw": "[pumps]"})
	return l
}

// wallHeat bounds a wall's heat capacity: metals reach 3.9, foams 0.1.
var wallHeat = keyed.Span(0.1, 5, "MJ/(m3 K)")

var pipes = []string{"PE", "PEX", "PP", "copper", "steel"}

// pipe reads the wall's stuff: a name, or its heat capacity.
func (r *reader) pipe(t *keyed.Tab, l *Loop) {
	stated := t.Number("wall_mj_per_m3_k", &l.WallMJPerM3K, wallHeat)
	e := t.Node.Find("pipe")
	if e != nil && e.Val.Kind == keyed.IsTable {
		t.Get("pipe")
		p := &keyed.Tab{R: r.Reader, Path: t.Key("pipe"), Node: e.Val}
		p.Need("wall_mj_per_m3_k", wallHeat.String())
		p.Number("wall_mj_per_m3_k", &l.WallMJPerM3K, wallHeat)
		p.Close(nil)
	} else if t.Choice("pipe", &l.Pipe, pipes...) && stated {
		t.Bad(e, "either pipe or wall_mj_per_m3_k", "take one of them out")
	}
}

// fluid reads "water" or { propylene_glycol_pct = 30 }.
func (r *reader) fluid(t *keyed.Tab, l *Loop) {
	e := t.Node.Find("fluid")
	if e == nil || e.Val.Kind != keyed.IsTable {
		t.Choice("fluid", &l.Fluid, "water")
		return
	}
	t.Get("fluid")
	p := &keyed.Tab{R: r.Reader, Path: t.Key("fluid"), Node: e.Val}
	p.Need("propylene_glycol_pct", "the share of propylene glycol in %")
	if p.Number("propylene_glycol_pct", &l.GlycolPct, keyed.Span(0, 100, "%")) && l.GlycolPct > 0 {
		l.Fluid = "propylene glycol"
	}
	p.Close(nil)
}

func (r *reader) tanks(t *keyed.Tab) []Tank {
	var out []Tank
	var names []string
	for _, tt := range t.Tables("tank") {
		var k Tank
		tt.Text("name", &k.Name)
		tt.Choice("role", &k.Role, "preheat", "hot")
		tt.Need("volume_l", "the tank's volume in L")
		tt.Number("volume_l", &k.VolumeL, keyed.Above0(1e6, "L"))
		if e := tt.Node.Find("name"); e != nil && k.Name != "" && slices.Contains(names, k.Name) {
			tt.Bad(e, "a name of its own for each tank", "rename one of them")
		}
		names = append(names, k.Name)
		if lt := tt.Table("layers"); lt != nil {
			k.Layers = map[string]float64{}
			for i := range lt.Node.Keys {
				e := &lt.Node.Keys[i]
				var h float64
				if r.place(e.Line, lt.Key(e.Key), e.Key) && lt.NumberIn(e, e.Val, &h, keyed.Span(0, 1, "(0 is the floor, 1 the top)")) {
					k.Layers[e.Key] = h
				}
			}
		}
		tt.Close(nil)
		out = append(out, k)
	}
	return out
}

func (r *reader) wash(t *keyed.Tab) *Wash {
	w := &Wash{MeterAt: "hot"}
	w.HasTarget = t.Number("target_c", &w.TargetC, keyed.Span(20, 100, "°C"))
	w.HasHeatTo = t.Number("heat_to_c", &w.HeatToC, keyed.Span(20, 100, "°C"))
	t.Choice("meter_at", &w.MeterAt, "hot", "cold")
	t.Close(nil)
	return w
}

// mains reads one figure or twelve by month.
func (r *reader) mains(t *keyed.Tab) []float64 {
	mt := t.Table("mains")
	if mt == nil {
		return nil
	}
	b := keyed.Span(-5, 40, "°C")
	e := mt.Get("temp_c")
	mt.Need("temp_c", "the cold feed's temperature in °C, one figure or twelve by month")
	mt.Close(nil)
	switch {
	case e == nil:
		return nil
	case e.Val.Kind != keyed.IsList:
		var v float64
		if mt.NumberIn(e, e.Val, &v, b) {
			return []float64{v}
		}
		return nil
	case len(e.Val.Items) != 12:
		mt.R.Add(e.Val.Line, mt.Key(e.Key), fmt.Sprintf("%d figures", len(e.Val.Items)), "one figure, or twelve from January to December", "complete the list")
		return nil
	}
	out := make([]float64, 12)
	for i, n := range e.Val.Items {
		mt.NumberIn(e, n, &out[i], b)
	}
	return out
}

func (r *reader) milk(t *keyed.Tab) Milk {
	m := Milk{SpecificHeatKJPerKgK: MilkSpecificHeatKJPerKgK, DensityKgPerL: MilkDensityKgPerL, LimitC: MilkLimitC}
	mt := t.Table("milk")
	if mt == nil {
		return m
	}
	m.SpecificHeatStated = mt.Number("specific_heat_kj_per_kg_k", &m.SpecificHeatKJPerKgK, keyed.Span(3, 4.3, "kJ/(kg K)"))
	m.DensityStated = mt.Number("density_kg_per_l", &m.DensityKgPerL, keyed.Span(0.95, 1.1, "kg/L"))
	mt.Yes("precooled", &m.Precooled)
	mt.Number("limit_c", &m.LimitC, keyed.Span(0, 20, "°C"))
	mt.Close(nil)
	return m
}
