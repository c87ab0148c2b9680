package season

import (
	"fmt"
	"math"
	"strconv"

	"github.com/go-gota/gota/dataframe"
	gota "github.com/go-gota/gota/series"

	"yardheat/analysis/doubt"
)

func itoa(n int) string { return strconv.Itoa(n) }

// months asks for each month's figures. A cycle belongs to the local month in
// which it starts.
func (b *builder) months(x *terms, s *saver, r *recovery, fit *loopFit) {
	b.s.Months = b.monthTable()
	for k := range b.s.Months {
		m := &b.s.Months[k]
		part := b.stretchOf(func(i int) bool { return b.acc.Cycles[i].Month(b.acc.Zone) == m.Month })
		b.stretchFigures(&m.Figures, x, s, r, fit, part)
	}
}

// monthTable sums finished litres by local month: gota's GroupBy, whose order
// is random, sorted by name, which is by time. Litres that were not seen count
// nothing.
func (b *builder) monthTable() []Month {
	n := len(b.acc.Cycles)
	if n == 0 {
		return nil
	}
	names, ones := make([]string, n), make([]float64, n)
	columns := map[string][]float64{"milk": make([]float64, n), "loop": make([]float64, n), "plate": make([]float64, n), "wash": make([]float64, n)}
	for i, c := range b.acc.Cycles {
		names[i], ones[i] = c.Month(b.acc.Zone), 1
		if b.acc.Milk.Rows != nil {
			columns["milk"][i] = seen(b.acc.Milk.Rows[i].Litres)
		}
		columns["loop"][i], columns["plate"][i] = seen(litres(&b.acc.Loop, i)), seen(litres(&b.acc.Plate, i))
		columns["wash"][i] = seen(litres(&b.acc.Wash, i))
	}
	frame := dataframe.New(gota.New(names, gota.String, "month"), gota.New(ones, gota.Float, "cycles"),
		gota.New(columns["milk"], gota.Float, "milk"), gota.New(columns["loop"], gota.Float, "loop"),
		gota.New(columns["plate"], gota.Float, "plate"), gota.New(columns["wash"], gota.Float, "wash"))
	keys := []string{"cycles", "milk", "loop", "plate", "wash"}
	how := make([]dataframe.AggregationType, len(keys))
	for i := range how {
		how[i] = dataframe.Aggregation_SUM
	}
	table := frame.GroupBy("month").Aggregation(how, keys).Arrange(dataframe.Sort("month"))
	sum := func(key string) []float64 { return table.Col(key + "_SUM").Float() }
	cycles, milk, loopL, plate, wash := sum("cycles"), sum("milk"), sum("loop"), sum("plate"), sum("wash")
	out := make([]Month, table.Nrow())
	for i, name := range table.Col("month").Records() {
		out[i] = Month{Month: name, Cycles: int(cycles[i]), MilkL: milk[i], LoopL: loopL[i], PlateL: plate[i], WashL: wash[i]}
	}
	return out
}

// seen is 0 for what is not known.
func seen(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}

// stretches asks for the farm's own stretches.
func (b *builder) stretches(x *terms, s *saver, r *recovery, fit *loopFit) {
	f := b.rec.Farm.Seasons
	b.s.Seasons = make([]Stretch, len(f))
	for k, season := range f {
		from, to := b.acc.FromMS, b.acc.ToMS
		if !season.From.IsZero() {
			from = max(from, season.From.UnixMilli())
		}
		if !season.To.IsZero() {
			to = min(to, season.To.UnixMilli())
		}
		to = max(from, to) // outside the record: an empty stretch
		name := season.Name
		if name == "" {
			name = fmt.Sprintf("season %d", k+1)
		}
		b.s.Seasons[k] = Stretch{Name: name, Kind: season.Kind, From: from, To: to}
		part := b.stretchOf(func(i int) bool { c := b.acc.Cycles[i]; return c.Start >= from && c.Start < to })
		b.stretchFigures(&b.s.Seasons[k].Figures, x, s, r, fit, part)
	}
}

// stretchFigures asks for loop_kwh, plant_kwh, element_kwh, wash_kwh,
// saved_kwh, ua_w_per_k, approach_k and recovery_fraction of a stretch.
func (b *builder) stretchFigures(dst *[]Named, x *terms, s *saver, r *recovery, fit *loopFit, part stretch) {
	b.seenHeat(dst, "loop_kwh", x.loop, part, leastOfStretch)
	b.seenHeat(dst, "plant_kwh", x.plate, part, leastOfStretch)
	b.seenPower(dst, "element_kwh", x.element, part, leastOfStretch)
	b.seenHeat(dst, "wash_kwh", x.wash, part, leastOfStretch)
	in := map[int]bool{}
	for _, i := range part.rows {
		in[i] = true
	}
	b.savedIn(dst, s, part, in)
	b.loopIn(dst, fit, part)
	r.month(dst, in)
}

func (b *builder) savedIn(dst *[]Named, s *saver, part stretch, in map[int]bool) {
	if s.chosen != nil {
		b.heldIn(dst, s.chosen, part, in)
		return
	}
	if s.why != "" {
		*dst = append(*dst, unknown("saved_kwh", "kWh", doubt.Metered, s.why))
		return
	}
	var rows []int
	for _, i := range s.rows {
		if in[i] {
			rows = append(rows, i)
		}
	}
	if covered := b.share(part, s.covered()); covered <= leastOfStretch {
		*dst = append(*dst, unknown("saved_kwh", "kWh", doubt.Metered, "wash heat and electricity together: "+whyUnseen(covered)))
		return
	}
	b.wantAt(dst, "saved_kwh", meta{unit: "kWh", basis: s.basis("saved_kwh"), n: len(rows), coverage: b.share(part, s.covered())}, s.saved(rows))
}

// ladder says how far each step lifts the water and what it gained.
func (b *builder) ladder() {
	gain := map[string]string{"loop": "loop_kwh", "plate": "plant_kwh", "element": "element_kwh", "wash": "wash_kwh"}
	absent := map[string]bool{"loop": b.acc.Loop.Absent, "plate": b.acc.Plate.Absent, "wash": b.acc.Wash.Absent}
	for _, g := range b.acc.Ladder(0, len(b.acc.Cycles)) {
		if absent[g.Step] {
			continue
		}
		b.s.Ladder = append(b.s.Ladder, Step{Step: g.Step})
		at := len(b.s.Ladder) - 1
		b.finish = append(b.finish, func() { b.s.Ladder[at].GainedKWh = b.gained(gain[g.Step]) })
		if math.IsNaN(g.TempC) {
			b.s.Ladder[at].TempC = unknown("", "degC", doubt.Metered, "no probe sees this step").Figure
			continue
		}
		part := doubt.NewPart([]float64{g.TempC}, nil, b.reg.effects(g.Sources, []float64{1}))
		k := b.output(func(t *doubt.Trial) float64 { return part.Census(t.E) })
		b.finish = append(b.finish, func() { b.s.Ladder[at].TempC = b.result.Figure(k, "degC", doubt.Metered, g.N, 1, "") })
	}
}

// gained is a rung's heat, as the account gives it.
func (b *builder) gained(key string) Figure {
	for _, n := range b.s.Heat.Seen {
		if n.Key == key {
			return n.Figure
		}
	}
	return unknown("", "kWh", doubt.Metered, "the feed brings no heat").Figure
}

// bed asks for the bed's figures: what was extracted, never what was produced.
func (b *builder) bed(x *terms, all stretch) {
	dst := &b.s.Bed
	if s := b.grid.Stream("bed_temp"); s == nil {
		*dst = append(*dst, unknown("mean_c", "degC", doubt.Metered, "no bed_temp is logged"))
	} else {
		mean, n := meanOf(s.Values)
		shift := b.reg.effects(s.Sources, []float64{1})
		part := doubt.NewPart([]float64{mean}, nil, shift)
		b.want(dst, "mean_c", meta{unit: "degC", basis: doubt.Metered, n: len(all.rows), coverage: float64(n) / float64(max(1, b.grid.N))},
			func(t *doubt.Trial) float64 { return part.Census(t.E) })
	}
	area, tonnes := 0.0, b.tonnesBedded()
	if l := b.rec.Farm.Loop; l != nil {
		area = l.BedAreaM2
	}
	hours := 0.0
	if x.loop.known {
		for i, r := range x.loop.h.Rows {
			hours += b.acc.Cycles[i].Hours() * r.SeenShare(b.acc.Cycles[i])
		}
	}
	errM2 := -1
	if area > 0 {
		errM2 = b.reg.key("loop.bed_area_m2")
	}
	b.perBed("heat_w_per_m2", "W/m2", x.loop, all, 1000/(area*hours), errM2, area*hours > 0, "farm.toml gives no loop.bed_area_m2")
	b.perBed("heat_kwh_per_day", "kWh/d", x.loop, all, 24/hours, -1, hours > 0, "no hour of the loop is covered")
	b.perBed("heat_kwh_per_m2", "kWh/m2", x.loop, all, 1/area, errM2, area > 0, "farm.toml gives no loop.bed_area_m2")
	b.perBed("heat_kwh_per_tonne", "kWh/t", x.loop, all, 1/tonnes, -1, tonnes > 0, "farm.toml gives no tonnes with a bedded event")
}

// tonnesBedded are those of all bedded events before the period's end.
func (b *builder) tonnesBedded() float64 {
	tonnes := 0.0
	for _, e := range b.rec.Farm.Events {
		if at := e.At.UnixMilli(); e.What == "bedded" && at < b.acc.ToMS {
			tonnes += e.Tonnes
		}
	}
	return tonnes
}

// perBed asks for the loop's heat times factor, over what source per errs by.
func (b *builder) perBed(key, unit string, x stream, all stretch, factor float64, per int, ok bool, why string) {
	switch {
	case !x.known:
		b.s.Bed = append(b.s.Bed, unknown(key, unit, doubt.Metered, x.why))
	case !ok:
		b.s.Bed = append(b.s.Bed, unknown(key, unit, doubt.Metered, why))
	default:
		m := b.heatMeta(x.h, all)
		m.unit = unit
		part := x.part
		b.want(&b.s.Bed, key, m, func(t *doubt.Trial) float64 { return factor * part.Census(t.E) / errFactor(t.E, per) })
	}
}

func meanOf(v []float64) (mean float64, n int) {
	sum := 0.0
	for _, x := range v {
		if x == x {
			sum += x
			n++
		}
	}
	return sum / float64(n), n
}
