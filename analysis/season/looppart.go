package season

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"yardheat/analysis/doubt"
	"yardheat/analysis/grid"
	"yardheat/analysis/loop"
	"yardheat/analysis/loop/store"
	"yardheat/ingest/series"
)

// loopFit is the loop's fit with what ties it to the rest of the season.
type loopFit struct {
	fit *loop.Fit
	// store is the fit of a bed with a store, nil where it was not tried; where
	// it is chosen, fit is its Loop.
	store *store.Fit
	// supply, slab and steady: as ua, for their logarithms.
	supply, slab, steady []effect
	// why there is none.
	why string
	// ua, offset and ratio: how the trials' errors move them (ln UA, K, ln r).
	ua, offset, ratio []effect
	// byDraw is UA by every draw for itself, where it is identified.
	byDraw []loop.DrawUA
	// supplyByDraw is the supply by every draw, where a bed with a store was
	// chosen.
	supplyByDraw []loop.DrawUA
	// input and options of the fit, for fits to parts of it.
	input   loop.Input
	options loop.Options
	// edges: the fit's nodes are the edges of the cells, not their middles.
	edges bool
	// probes behind approach and effectiveness.
	in, out, bed []grid.Source
}

// effect is one source and what a unit of its error does.
type effect struct {
	source int
	per    float64
}

func total(list []effect, e []float64) float64 {
	sum := 0.0
	for _, x := range list {
		sum += x.per * e[x.source]
	}
	return sum
}

// fitLoop fits the buried loop on the grid.
func (b *builder) fitLoop() *loopFit {
	in, out, bed := b.loopInlet(), b.grid.Stream("loop_out_temp"), b.grid.Stream("bed_temp")
	if why := b.loopWhy(); why != "" {
		return &loopFit{why: why}
	}
	l := &loopFit{in: in.Sources, out: out.Sources, bed: bed.Sources, edges: in.Edges != nil && out.Edges != nil}
	l.input, l.options = b.loopInput(in, out, bed), b.loopOptions(l)
	fit, err := loop.Run(l.input, l.options)
	if err != nil {
		l.why = err.Error()
		return l
	}
	l.fit = fit
	if fit.Identified {
		l.byDraw = fit.LnUAByDraw()
	}
	b.fitStore(l, l.input, l.options)
	if l.chosen() {
		l.byDraw = nil // of a uniform bed, which this one is not
		l.supplyByDraw = l.store.LnSupplyByDraw()
	}
	l.why = l.fit.Why
	b.loopEffects(l)
	b.storeEffects(l)
	return l
}

// loopWhy says why the loop cannot be fitted; "" where it can.
func (b *builder) loopWhy() string {
	f := b.rec.Farm.Loop
	in, out, bed := b.loopInlet(), b.grid.Stream("loop_out_temp"), b.grid.Stream("bed_temp")
	switch {
	case f == nil:
		return WhyNoLoop
	case f.Fluid != "" && f.Fluid != "water":
		return "the loop's fluid is not water, and no published correlation of its heat is built in"
	case b.acc.LoopFlow == nil:
		return "no flow through the loop is logged"
	case out == nil:
		return "no loop_out_temp is logged"
	case in == nil:
		return "neither loop_in_temp nor mains_temp is logged"
	case bed == nil:
		return "no bed_temp is logged"
	case b.looksSwapped("loop_out_temp"):
		return "loop_out_temp and the inlet look swapped (see the problems)"
	case b.acc.LoopFlow.From == "draws":
		return "litres are loop.draw_l a refill: how fast the water went, and so how long it lay in the bed, is not known draw by draw. A flow meter, or the refill's valve state with loop.flow_l_min, would tell it"
	}
	return ""
}

// looksSwapped: the reader found this outlet colder than its inlet.
func (b *builder) looksSwapped(outlet string) bool {
	for _, p := range b.rec.Problems {
		if p.Code == series.CodeProbesSwapped && strings.HasPrefix(p.Text, outlet+" ") {
			return true
		}
	}
	return false
}

func (b *builder) loopInlet() *grid.Stream {
	if s := b.grid.Stream("loop_in_temp"); s != nil {
		return s
	}
	return b.grid.Stream("mains_temp")
}

func (b *builder) loopInput(in, out, bed *grid.Stream) loop.Input {
	g, f := b.grid, b.rec.Farm.Loop
	var x loop.Input
	if in.Edges != nil && out.Edges != nil {
		// Where the log was read, not between: the front stays sharp.
		x = loop.FromEdges(g.StepS, b.acc.LoopFlow.Values, in.Edges, readOnly(g, out, b.acc.LoopFlow.Values), bed.Values)
	} else {
		x = loop.FromCells(g.StepS, b.acc.LoopFlow.Values, in.Values, out.Values, bed.Values)
	}
	x.Branches = f.Branches
	if x.Meter = loop.MeterIn; f.MeterAt == "out" {
		x.Meter = loop.MeterOut
	}
	for _, d := range b.acc.Draws {
		x.Draws = append(x.Draws, [2]float64{float64(d.Start-g.StartMS) / 1000, float64(d.End-g.StartMS) / 1000})
	}
	at := time.UnixMilli(b.acc.FromMS).In(b.acc.Zone)
	midnight := time.Date(at.Year(), at.Month(), at.Day(), 0, 0, 0, 0, b.acc.Zone)
	x.DayZeroS = float64(midnight.UnixMilli()-g.StartMS) / 1000
	if slow := max(out.UsualS, b.acc.LoopFlow.UsualS); slow > b.opt.Account.Book.FastS {
		x.EdgeS = slow
	}
	x.Pipe = loop.Pipe{LengthM: f.LengthM, BoreMM: f.BoreMM, WallMM: f.WallMM, Material: f.Pipe, WallMJPerM3K: f.WallMJPerM3K,
		LengthSD: b.keySD("loop.length_m", f.LengthM), BoreSD: b.keySD("loop.bore_mm", f.BoreMM)}
	if f.HasLead {
		x.LeadL = f.LeadL
	}
	return x
}

// missingReading: readings further apart than so many usual intervals have one
// missing between them.
const missingReading = 1.5

// readOnly are the outlet's edges, NaN within a draw where no reading stands
// near: a line across a front is off by many kelvins, and weighs as a reading.
func readOnly(g *grid.Grid, out *grid.Stream, flowLMin []float64) []float64 {
	edges := slices.Clone(out.Edges)
	bridged := out.Readings.Bridged(g.StartMS, int64(g.StepS*1000), len(edges), int64(missingReading*1000*math.Max(out.UsualS, g.StepS)))
	for i, made := range bridged {
		if made && i > 0 && i < len(flowLMin) && flowLMin[i-1] > 0 && flowLMin[i] > 0 {
			edges[i] = math.NaN()
		}
	}
	return edges
}

// keySD is the relative standard deviation of a farm-file figure, 0 where the
// file states none.
func (b *builder) keySD(key string, value float64) float64 {
	e, _ := b.rec.Farm.KeyError(key)
	sd := stated(key, "", e, false).U()
	if !e.Relative && value > 0 {
		sd /= value
	}
	return sd
}

// loopOptions gives the fit the errors of this farm's probes.
func (b *builder) loopOptions(l *loopFit) loop.Options {
	o := b.opt.Loop
	o.InSDK, o.OutSDK, o.BedSDK = b.sd(l.in), b.sd(l.out), b.sd(l.bed)
	o.InOutCorr, o.InBedCorr, o.OutBedCorr = b.correlation(l.in, l.out), b.correlation(l.in, l.bed), b.correlation(l.out, l.bed)
	o.FlowSD = b.sd(b.acc.LoopFlow.Sources)
	o.LagS, o.InletLagS = b.acc.Loop.HotLagS, b.acc.Loop.ColdLagS
	return o
}

// sd is the standard deviation of a stream by its sources' shared errors.
func (b *builder) sd(sources []grid.Source) float64 {
	return math.Sqrt(b.covariance(sources, sources))
}

// covariance of two streams by the errors of their sources.
func (b *builder) covariance(x, y []grid.Source) float64 {
	both, one, other := b.variance(x, y), b.variance(x, nil), b.variance(nil, y)
	return (both - one - other) / 2
}

// variance of the sum of two streams.
func (b *builder) variance(x, y []grid.Source) float64 {
	var at []int
	for _, s := range append(append([]grid.Source(nil), x...), y...) {
		at = append(at, b.reg.probe(s)) // first, for it may add sources
	}
	slopes := make([]float64, len(b.reg.sources))
	for k, s := range append(append([]grid.Source(nil), x...), y...) {
		if at[k] >= 0 {
			slopes[at[k]] += s.Weight
		}
	}
	return doubt.VarianceOf(b.reg.sources, slopes)
}

// correlation of two streams' errors; 0 where one has none.
func (b *builder) correlation(x, y []grid.Source) float64 {
	if sd := b.sd(x) * b.sd(y); sd > 0 {
		return max(-1, min(1, b.covariance(x, y)/sd))
	}
	return 0
}

// loopEffects ties the fit's responses to the sources of the trials. The fit
// says what its corrected record would give, the trials what the record as
// logged gives under an error: the same with the other sign.
func (b *builder) loopEffects(l *loopFit) {
	fit := l.fit
	if math.IsNaN(fit.RandomSD) || fit.Covariance == nil {
		return
	}
	t := doubt.StudentT(0.975, fit.DF) / z95
	own := func(name string, sd float64, relative bool, unit string) int {
		return b.reg.add(doubt.Source{Name: name, Kind: doubt.Random, HalfWidth: z95 * t * sd, Relative: relative, Unit: unit})
	}
	l.ua = append(b.sharedEffects(l, func(s loop.Source) float64 { return s.LnUA }), effect{own("which days happened (loop)", fit.RandomSD, true, ""), 1})
	for i, name := range fit.Free {
		list := b.sharedEffects(l, func(s loop.Source) float64 { return s.Theta[i] })
		sd := math.Sqrt(fit.Covariance.At(i, i))
		switch name {
		case "offset":
			l.offset = append(list, effect{own("which days happened (bed offset)", sd, false, "K"), 1})
		case "ln_r":
			l.ratio = append(list, effect{own("which days happened (volume ratio)", sd, true, ""), 1})
		}
	}
}

// sharedEffects are the responses to the probes', the meter's and the pipe's
// errors.
func (b *builder) sharedEffects(l *loopFit, of func(loop.Source) float64) []effect {
	var out []effect
	probes := map[string][]grid.Source{loop.SourceIn: l.in, loop.SourceOut: l.out, loop.SourceBed: l.bed, loop.SourceFlow: b.acc.LoopFlow.Sources}
	for _, s := range l.fit.Sources {
		switch s.Name {
		case loop.SourceVolume:
			i := b.reg.add(doubt.Source{Name: "loop volume and pipe wall", Kind: doubt.Shared, HalfWidth: z95 * s.SD, Relative: true, Assumed: l.fit.Built.BetaAssumed})
			out = append(out, effect{i, -of(s)})
		case loop.SourceLag:
			if s.SD > 0 {
				i := b.reg.add(doubt.Source{Name: "loop outlet: time constant as fitted", Kind: doubt.Shared, HalfWidth: z95 * s.SD, Unit: "s"})
				out = append(out, effect{i, -of(s)})
			}
		case loop.SourceFront:
			if s.SD > 0 {
				i := b.reg.add(doubt.Source{Name: "loop: form of the front", Kind: doubt.Shared, HalfWidth: z95 * s.SD, Unit: "skewness", Assumed: true})
				out = append(out, effect{i, -of(s)})
			}
		default:
			for _, p := range probes[s.Name] {
				if i := b.reg.probe(p); i >= 0 {
					out = append(out, effect{i, -of(s) * p.Weight})
				}
			}
		}
	}
	return out
}

// loopFigures asks for the loop's figures.
func (b *builder) loopFigures(l *loopFit) {
	s := &b.s.Loop
	s.Why = l.why
	if l.fit == nil {
		for _, k := range loopKeys {
			s.Figures = append(s.Figures, unknown(k.key, k.unit, doubt.Fitted, l.why))
		}
		b.plainDraws(l.why)
		return
	}
	fit := l.fit
	if math.IsNaN(fit.UAWPerK) && len(fit.Draws) == 0 {
		for _, k := range loopKeys {
			s.Figures = append(s.Figures, unknown(k.key, k.unit, doubt.Fitted, l.why))
		}
		return
	}
	s.Model, s.Identified, s.RMSEK, s.DrawsUsed, s.LitresLeftOut = l.model(), fit.Identified, fit.RMSEK, fit.DrawsUsed, fit.LitresLeftOut
	ua := b.output(func(t *doubt.Trial) float64 { return fit.UAWPerK * math.Exp(total(l.ua, t.E)) })
	if fit.Identified {
		b.note("ua_w_per_k", ua)
	}
	area := math.Pi * b.rec.Farm.Loop.BoreMM / 1000 * b.rec.Farm.Loop.LengthM
	for _, k := range loopKeys {
		switch k.key {
		case "ua_w_per_k":
			b.uaTimes(&s.Figures, k.key, k.unit, l, ua, 1)
		case "u_w_per_m2_k":
			b.uaTimes(&s.Figures, k.key, k.unit, l, ua, 1/area)
		case "per_metre_w_per_m_k":
			b.uaTimes(&s.Figures, k.key, k.unit, l, ua, 1/b.rec.Farm.Loop.LengthM)
		case "time_constant_h":
			b.timeConstant(&s.Figures, l, ua)
		case "supply_w_per_k", "slab_kj_per_k", "steady_w_per_k":
			b.storeFigure(&s.Figures, k.key, k.unit, l, ua)
		case "bed_offset_k":
			b.fitted(&s.Figures, k.key, k.unit, l, func(t *doubt.Trial) float64 { return fit.OffsetK + total(l.offset, t.E) })
		case "volume_ratio":
			b.volumeRatio(&s.Figures, l)
		case "approach_k":
			b.approach(&s.Figures, l, fit.Draws)
		case "effectiveness":
			b.effectiveness(&s.Figures, l)
		}
	}
	s.ModelWhy = l.modelWhy()
	b.loopPictures(l)
}

// loopKeys in the order of results.json.
var loopKeys = []struct{ key, unit string }{
	{"ua_w_per_k", "W/K"}, {"u_w_per_m2_k", "W/(m2 K)"}, {"per_metre_w_per_m_k", "W/(m K)"}, {"time_constant_h", "h"},
	{"supply_w_per_k", "W/K"}, {"steady_w_per_k", "W/K"}, {"slab_kj_per_k", "kJ/K"}, {"bed_offset_k", "K"},
	{"volume_ratio", "1"}, {"approach_k", "K"}, {"effectiveness", "1"},
}

// uaTimes gives a multiple of UA: by the trials where it is identified, from
// the misfit's profile (one end, or both) where it is not.
func (b *builder) uaTimes(dst *[]Named, key, unit string, l *loopFit, ua int, factor float64) {
	b.later(dst, key, func() Figure {
		low, high := b.uaEnds(l, ua)
		value := l.fit.UAWPerK
		if math.IsNaN(high) && !math.IsNaN(low) {
			value = nan
		}
		return doubt.Make(factor*value, factor*low, factor*high, unit, doubt.Fitted, l.fit.DrawsUsed, b.fitCoverage(l), l.why)
	})
}

// uaEnds is the interval of UA: the trials' where there is one, else the lower
// bound, if the draws give one.
func (b *builder) uaEnds(l *loopFit, ua int) (low, high float64) {
	switch {
	case !math.IsNaN(l.fit.LowerBoundWPerK):
		return l.fit.LowerBoundWPerK, nan
	case l.ua != nil:
		o := b.result.Outputs[ua]
		return o.Low, o.High
	}
	return nan, nan
}

func (b *builder) timeConstant(dst *[]Named, l *loopFit, ua int) {
	b.later(dst, "time_constant_h", func() Figure {
		low, high := b.uaEnds(l, ua)
		v := 1 / l.fit.KPerH
		lo, hi := v*l.fit.UAWPerK/high, v*l.fit.UAWPerK/low
		if math.IsNaN(high) && !math.IsNaN(low) {
			v = nan
		}
		return doubt.Make(v, lo, hi, "h", doubt.Fitted, l.fit.DrawsUsed, b.fitCoverage(l), l.why)
	})
}

// fitCoverage is the share of the litres that the fit could use.
func (b *builder) fitCoverage(l *loopFit) float64 {
	all := 0.0
	for _, d := range l.fit.Draws {
		all += d.Litres
	}
	if all <= 0 {
		return 0
	}
	return max(0, min(1, 1-l.fit.LitresLeftOut/all))
}

func (b *builder) fitted(dst *[]Named, key, unit string, l *loopFit, f func(t *doubt.Trial) float64) {
	if math.IsNaN(l.fit.RandomSD) {
		*dst = append(*dst, unknown(key, unit, doubt.Fitted, l.why))
		return
	}
	b.want(dst, key, meta{unit: unit, basis: doubt.Fitted, n: l.fit.DrawsUsed, coverage: b.fitCoverage(l)}, f)
}

func (b *builder) volumeRatio(dst *[]Named, l *loopFit) {
	if !l.fit.RatioFree {
		*dst = append(*dst, unknown("volume_ratio", "1", doubt.Fitted, "no draw passes the loop's volume and the flow is always alike, so nothing tells it"))
		return
	}
	b.fitted(dst, "volume_ratio", "1", l, func(t *doubt.Trial) float64 { return l.fit.VolumeRatio * math.Exp(total(l.ratio, t.E)) })
}

// approach is bed less outlet while soaked water comes, a mean by litres; its
// scatter is that of the draws.
func (b *builder) approach(dst *[]Named, l *loopFit, draws []loop.Draw) {
	var v, w []float64
	for _, d := range draws {
		if !math.IsNaN(d.ApproachK) {
			v, w = append(v, d.ApproachK), append(w, d.Litres)
		}
	}
	if len(v) < 3 {
		*dst = append(*dst, unknown("approach_k", "K", doubt.Metered, "fewer than three draws began with soaked water"))
		return
	}
	mean, sd := meanSD(v, w)
	part := doubt.NewPart([]float64{mean}, nil, append(b.reg.effects(l.bed, []float64{1}), b.reg.effects(l.out, []float64{-1})...))
	random := b.reg.add(doubt.Source{Name: fmt.Sprintf("scatter of %d draws (approach)", len(v)), Kind: doubt.Random, HalfWidth: z95 * sd / math.Sqrt(float64(len(v))), Unit: "K"})
	b.want(dst, "approach_k", meta{unit: "K", basis: doubt.Metered, n: len(v), coverage: float64(len(v)) / float64(max(1, len(draws)))},
		func(t *doubt.Trial) float64 { return part.Census(t.E) + t.E[random] })
}

func meanSD(v, w []float64) (mean, sd float64) {
	var sum, sw float64
	for i := range v {
		sum, sw = sum+w[i]*v[i], sw+w[i]
	}
	mean = sum / sw
	for i := range v {
		sd += (v[i] - mean) * (v[i] - mean)
	}
	return mean, math.Sqrt(sd / float64(max(1, len(v)-1)))
}

// effectiveness is (T_out - T_in)/(T_bed + b - T_in) by the draws' means.
func (b *builder) effectiveness(dst *[]Named, l *loopFit) {
	var in, out, bed, litres float64
	n := 0
	for _, d := range l.fit.Draws {
		if v := d.InC + d.OutC + d.BedC; !math.IsNaN(v) {
			in, out, bed, litres = in+d.Litres*d.InC, out+d.Litres*d.OutC, bed+d.Litres*d.BedC, litres+d.Litres
			n++
		}
	}
	if n == 0 || math.IsNaN(l.fit.RandomSD) {
		*dst = append(*dst, unknown("effectiveness", "1", doubt.Fitted, "no draw has inlet, outlet and bed"))
		return
	}
	in, out, bed = in/litres, out/litres, bed/litres+l.fit.OffsetK
	ei, eo := b.reg.effects(l.in, []float64{1}), b.reg.effects(l.out, []float64{1})
	inPart, outPart := doubt.NewPart([]float64{in}, nil, ei), doubt.NewPart([]float64{out}, nil, eo)
	b.want(dst, "effectiveness", meta{unit: "1", basis: doubt.Fitted, n: n, coverage: float64(n) / float64(len(l.fit.Draws))},
		func(t *doubt.Trial) float64 {
			i := inPart.Census(t.E)
			return (outPart.Census(t.E) - i) / (bed + total(l.offset, t.E) - i)
		})
}

// loopIn asks for UA and approach of a stretch.
func (b *builder) loopIn(dst *[]Named, l *loopFit, part stretch) {
	if l.fit == nil || len(part.rows) == 0 {
		*dst = append(*dst, unknown("ua_w_per_k", "W/K", doubt.Fitted, l.why), unknown("approach_k", "K", doubt.Metered, l.why))
		return
	}
	from, to := b.seconds(b.acc.Cycles[part.rows[0]].Start), b.seconds(b.acc.Cycles[part.rows[len(part.rows)-1]].End)
	var inside []loop.Draw
	for _, d := range l.fit.Draws {
		if d.FromS >= from && d.FromS < to {
			inside = append(inside, d)
		}
	}
	lnUA, sd, draws := windowsOver(l.fit.Windows, from, to)
	switch {
	case !l.fit.Identified:
		*dst = append(*dst, unknown("ua_w_per_k", "W/K", doubt.Fitted, l.why))
	case draws == 0 || len(inside) < fewDraws || len(l.ua) == 0:
		*dst = append(*dst, unknown("ua_w_per_k", "W/K", doubt.Fitted, "too few draws of this stretch can be followed through the loop"))
	default:
		random := b.reg.add(doubt.Source{Name: fmt.Sprintf("which days happened (loop, from %s)", clockTime(b.ms(from), b.rec)), Kind: doubt.Random, HalfWidth: z95 * sd, Relative: true})
		season := l.ua[:len(l.ua)-1] // without the whole season's days
		b.want(dst, "ua_w_per_k", meta{unit: "W/K", basis: doubt.Fitted, n: draws, coverage: 1},
			func(t *doubt.Trial) float64 { return math.Exp(lnUA + total(season, t.E) + t.E[random]) })
	}
	b.approach(dst, l, inside)
}

// fewDraws: a stretch with fewer says nothing of its own about UA (our choice).
const fewDraws = 8

// windowsOver is ln UA over a stretch: the mean of the windows that lie mostly in it,
// by their precision.
func windowsOver(windows []loop.Window, fromS, toS float64) (lnUA, sd float64, draws int) {
	var sum, weight float64
	for _, w := range windows {
		half := math.Log(w.HighWPerK/w.LowWPerK) / 2 / z95
		if mid := (w.FromS + w.ToS) / 2; mid < fromS || mid >= toS || !(half > 0) {
			continue
		}
		p := 1 / (half * half)
		sum, weight, draws = sum+p*math.Log(w.UAWPerK), weight+p, draws+w.Draws
	}
	return sum / weight, 1 / math.Sqrt(weight), draws
}

func (b *builder) seconds(ms int64) float64 { return float64(ms-b.grid.StartMS) / 1000 }

func (b *builder) ms(seconds float64) int64 { return b.grid.StartMS + int64(seconds*1000) }

// loopPictures fills in the draws, UA over time and a few draws read closely.
func (b *builder) loopPictures(l *loopFit) {
	s := b.s
	for i, d := range l.fit.Draws {
		r := DrawRow{N: i + 1, Start: b.ms(d.FromS), End: b.ms(d.ToS), Litres: d.Litres, LoopVolumes: d.LoopVolumes, InC: d.InC, OutC: d.OutC,
			BedC: d.BedC, HeatKWh: nan, Effectiveness: d.Effectiveness, ApproachK: d.ApproachK, RMSEK: d.RMSEK, Used: d.Used, Why: d.Why}
		if i < len(b.acc.DrawRows) {
			r.HeatKWh = b.acc.DrawRows[i].KWh
		}
		s.Draws = append(s.Draws, r)
	}
	for _, w := range l.fit.Windows {
		if !l.fit.Identified {
			break
		}
		s.Pictures.UA = append(s.Pictures.UA, UAPoint{From: b.ms(w.FromS), To: b.ms(w.ToS),
			UA: doubt.Make(w.UAWPerK, w.LowWPerK, w.HighWPerK, "W/K", doubt.Fitted, w.Draws, 1, "")})
	}
	if math.IsNaN(l.fit.KPerH) {
		return
	}
	model := l.predictor()
	for _, i := range typical(l.fit.Draws, b.opt.TypicalDraws) {
		s.Pictures.TypicalDraws = append(s.Pictures.TypicalDraws, b.trace(l, model, i))
	}
}

// midCells turns values at the edges of cells into those at mid-cell.
func midCells(edges []float64) []float64 {
	out := make([]float64, len(edges)-1)
	for i := range out {
		out[i] = (edges[i] + edges[i+1]) / 2
	}
	return out
}

// typical picks draws with a model: of those ordered by litres, evenly.
func typical(draws []loop.Draw, n int) []int {
	var used []int
	for i, d := range draws {
		if d.Used {
			used = append(used, i)
		}
	}
	slices.SortStableFunc(used, func(a, b int) int {
		switch {
		case draws[a].Litres < draws[b].Litres:
			return -1
		case draws[a].Litres > draws[b].Litres:
			return 1
		}
		return 0
	})
	var out []int
	for k := range n {
		if len(used) == 0 {
			return nil
		}
		i := used[(2*k+1)*len(used)/(2*n)]
		if !slices.Contains(out, i) {
			out = append(out, i)
		}
	}
	return out
}

// trace is one draw, ten minutes about it included.
func (b *builder) trace(l *loopFit, model predictor, i int) DrawTrace {
	d, g := l.fit.Draws[i], b.grid
	from, to := g.Cell(b.ms(d.FromS)-600_000), g.Cell(b.ms(d.ToS)+600_000)
	cut := func(s *grid.Stream) []float64 { return slices.Clone(s.Values[from:to]) }
	modelled := model.Between(from, to)
	if l.edges {
		modelled = midCells(model.Between(from, to+1))
	}
	at := time.UnixMilli(b.ms(d.FromS)).In(b.acc.Zone)
	return DrawTrace{Title: fmt.Sprintf("%s, %.0f L (%.1f × loop with its wall)", at.Format("2006-01-02 15:04"), d.Litres, d.LoopVolumes),
		At: g.EdgeMS(from), StepS: g.StepS, StartS: d.FromS - b.seconds(g.EdgeMS(from)), InC: cut(b.loopInlet()), OutC: cut(g.Stream("loop_out_temp")), BedC: cut(g.Stream("bed_temp")),
		ModelC: modelled, LMin: slices.Clone(b.acc.LoopFlow.Values[from:to])}
}
