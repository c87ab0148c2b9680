package ingest

import (
	"math"
	"slices"
	"strings"

	"yardheat/ingest/series"
)

// doubts holds probes against each other and against what is physically
// likely. Nothing is changed: what looks wrong is listed.
func (l *loader) doubts() {
	l.disagree()
	l.weakSignals()
	l.stampPlaces()
	l.swapped()
	for i := range l.rec.Series {
		l.fahrenheit(i)
		l.negative(i)
		l.flowUnit(i)
	}
}

// enough readings, evenly taken, know a mean or a median as well as all do.
const enough = 50_000

// pairs are kept readings of two series at the same times.
type pairs struct {
	n            int
	sumA, sumAbs float64 // of a − b
	sumV         float64 // of (|a| + |b|) / 2
}

// against walks two series together: each reading of a with the nearest one of
// b, at most half of b's usual interval away.
func against(a, b *series.Series, when func(tMS int64) bool) pairs {
	var p pairs
	near := max(a.IntervalMS, b.IntervalMS)/2 + 1
	j := 0
	for i := 0; i < len(a.T); i += max(1, len(a.T)/enough) {
		t := a.T[i]
		if a.Flags.At(i) != 0 {
			continue
		}
		for j+1 < len(b.T) && (b.Flags.At(j) != 0 || absMS(b.T[j+1]-t) <= absMS(b.T[j]-t)) {
			j++
		}
		if j >= len(b.T) || b.Flags.At(j) != 0 || absMS(b.T[j]-t) > near || when != nil && !when(t) {
			continue
		}
		d := a.V[i] - b.V[j]
		p.n++
		p.sumA += d
		p.sumAbs += math.Abs(d)
		p.sumV += (math.Abs(a.V[i]) + math.Abs(b.V[j])) / 2
	}
	return p
}

func absMS(d int64) int64 { return max(d, -d) }

// fewPairs is how many readings two probes must share to be compared.
const fewPairs = 10

// samePlace tells whether two series are probes of one place.
func samePlace(a, b *series.Series) bool {
	info, _ := series.Lookup(a.Quantity)
	return a.Quantity == b.Quantity && a.Place == b.Place && a.Kind == b.Kind && !(a.Place == "" && info.SeparatePlaces)
}

// disagree lists probes of one quantity and place that differ on average:
// temperatures in K while water passes, others relative to their mean.
func (l *loader) disagree() {
	for i, a := range l.rec.Series {
		info, _ := series.Lookup(a.Quantity)
		if info.Class == series.OnOff {
			continue
		}
		for k := i + 1; k < len(l.rec.Series); k++ {
			b := l.rec.Series[k]
			if !samePlace(a, b) {
				continue
			}
			p := against(a, b, l.flowing(i, info.Pipe))
			if p.n < fewPairs {
				continue
			}
			mean := p.sumA / float64(p.n)
			limit, unit := l.opt.Flags.DisagreeK, "K"
			if info.Class != series.Temperature {
				limit, unit = l.opt.Flags.DisagreeShare*p.sumV/float64(p.n), info.Class.BaseUnit()
			}
			if math.Abs(mean) > limit {
				l.problem(series.CodeProbesDisagree, series.Doubt, l.fileOf(i), "", "%s: %q reads %+.3g %s against %q on average over %d readings; they stand for one place",
					a.Quantity, a.Probe, mean, unit, b.Probe, p.n)
			}
		}
	}
}

// flowing gives a test whether water passes the i-th probe at a time; nil where
// nothing says so, or it does not matter.
func (l *loader) flowing(i int, pipe bool) func(int64) bool {
	if !pipe {
		return nil
	}
	flow := l.beside(i).Flow
	if len(flow) == 0 {
		return nil
	}
	return func(t int64) bool { return passes(flow[0], t) }
}

// passes tells whether a series of flow, volume, power or state says that
// something passes at a time.
func passes(f *series.Series, tMS int64) bool {
	k, found := slices.BinarySearch(f.T, tMS)
	if !found && f.From == nil {
		k-- // instants and states: the last reading holds
	}
	return k >= 0 && k < len(f.T) && f.Flags.At(k) == 0 && f.V[k] > 0 && (f.From == nil || f.From[k] < tMS) && absMS(tMS-f.T[k]) <= 2*max(f.IntervalMS, 60000)
}

// first is the first series of a quantity with kept readings, −1 for none.
func (l *loader) first(q series.Quantity) int {
	return slices.IndexFunc(l.rec.Series, func(s *series.Series) bool { return s.Quantity == q && s.Kept() > 0 })
}

// swapped lists an outlet that is colder than its inlet while water passes, or
// gas that comes out hotter than it went in.
func (l *loader) swapped() {
	for _, c := range []struct {
		hot, cold series.Quantity
		what      string
	}{
		{"loop_out_temp", "loop_in_temp", "a buried loop warms the water"},
		{"plate_out_temp", "plate_in_temp", "the plate warms the water"},
		{"gas_in_temp", "gas_out_temp", "the gas leaves the plate cooler"},
	} {
		i, k := l.first(c.hot), l.first(c.cold)
		if k < 0 && c.cold == "loop_in_temp" {
			k = l.first("mains_temp") // the cold feed enters the loop
		}
		if i < 0 || k < 0 {
			continue
		}
		when := l.flowing(i, true)
		if when == nil {
			continue
		}
		p := against(l.rec.Series[i], l.rec.Series[k], when)
		if mean := p.sumA / float64(max(p.n, 1)); p.n >= fewPairs && mean < -l.opt.Flags.SwapK {
			l.problem(series.CodeProbesSwapped, series.Doubt, l.fileOf(i), "", "%s is %.1f K below %s on average while it runs (%d readings), but %s: the two columns look swapped", c.hot, -mean, c.cold, p.n, c.what)
		}
	}
}

// likelyMost are the highest medians that a farm's feed, air and cooled milk
// have (common practice, no source): above, and below what it would be in °F,
// the unit is in doubt.
var likelyMost = map[series.Quantity]float64{"mains_temp": 32, "loop_in_temp": 38, "air_temp": 38, "outdoor_temp": 35, "milk_out_temp": 25, "milk_in_temp": 45, "ice_water_temp": 25, "bed_temp": 85}

// fahrenheit lists temperatures that only make sense in °F: the median of all
// readings, those out of range too, lies above what is likely, and taken for °F
// falls inside.
func (l *loader) fahrenheit(i int) {
	s, p := l.rec.Series[i], l.probes[i]
	info, _ := series.Lookup(s.Quantity)
	if info.Class != series.Temperature || len(s.V) < fewPairs {
		return
	}
	most, ok := likelyMost[s.Quantity]
	if !ok {
		most = info.High
	}
	stride := max(1, len(s.V)/enough)
	v := make([]float64, 0, len(s.V)/stride+1)
	for k := 0; k < len(s.V); k += stride {
		if s.Flags.At(k)&^series.Range == 0 {
			v = append(v, s.V[k])
		}
	}
	above := 0
	for _, x := range v {
		if x > most {
			above++
		}
	}
	if len(v) == 0 || 2*above < len(v) {
		return // the median is not above
	}
	slices.Sort(v)
	median := v[len(v)/2]
	asF := (median - 32) / 1.8
	if median > most && asF >= max(info.Low, -20) && asF <= most {
		l.problem(series.CodeLooksFahrenheit, series.Doubt, l.fileOf(i), "", "%q (%s) has a median of %.1f °C, unlikely; as °F it would be %.1f °C: unit = \"F\" on the column (farm.toml, line %d) says so",
			s.Column, s.Quantity, median, asF, p.column.Farm.Line)
	}
}

// negative lists flows and powers below zero.
func (l *loader) negative(i int) {
	s := l.rec.Series[i]
	info, _ := series.Lookup(s.Quantity)
	switch info.Class {
	case series.Flow, series.Power, series.Volume, series.Energy:
	default:
		return
	}
	n, first := 0, -1
	for k, v := range s.V {
		if v < 0 && s.Flags.At(k)&series.Range != 0 {
			if n == 0 {
				first = k
			}
			n++
		}
	}
	if n == 0 {
		return
	}
	o := s.Origins.At(first)
	t := tableOf(l.probes[i].log, o)
	hint := "see whether the meter counts backwards"
	if strings.HasPrefix(string(s.Quantity), "grid_import") {
		hint = "a meter that counts both ways: below zero is export, which is a quantity of its own"
	}
	l.problem(series.CodeNegative, series.LeftOut, t.Name, t.Place(int(o.Line), -1), "%q: %d readings below zero, first %.4g %s, not used: %s", s.Column, n, s.V[first], info.Class.BaseUnit(), hint)
}

// Bounds within which a flow and the volume beside it are taken to agree, and
// the flow below which m³/h taken for L/min is suspected (m³/h is 16.67 L/min).
const (
	flowVolumeRatio = 3
	slowFlowLMin    = 2.5
)

// flowUnit holds a flow against the volume of its stage; without one, a flow
// that hardly moves may be m³/h.
func (l *loader) flowUnit(i int) {
	s := l.rec.Series[i]
	stage, ok := strings.CutSuffix(string(s.Quantity), "_flow")
	if !ok || s.Kept() == 0 {
		return
	}
	if k := l.first(series.Quantity(stage + "_volume")); k >= 0 && l.rec.Series[k].Place == s.Place {
		a, b := litresBetween(s, l.rec.Series[k])
		if a > 0 && b > 0 && (a > flowVolumeRatio*b || b > flowVolumeRatio*a) {
			l.problem(series.CodeFlowUnit, series.Doubt, l.fileOf(i), "", "%q adds up to %.0f L over the time in which %q counted %.0f L (ratio %.3g): see the units (m³/h is 16.67 L/min) and the litres a pulse",
				s.Column, a, l.rec.Series[k].Column, b, a/b)
		}
		return
	}
	if p := upperFlow(s); p > 0 && p < slowFlowLMin && l.probes[i].column.Farm.Unit == "" {
		l.problem(series.CodeFlowUnit, series.Doubt, l.fileOf(i), "", "%q hardly passes %.2g L/min; in m³/h it would be %.3g L/min: unit on the column (farm.toml, line %d) says which", s.Column, p, p*1000/60, l.probes[i].column.Farm.Line)
	}
}

// upperFlow is the 95th percentile of the flow while it runs.
func upperFlow(s *series.Series) float64 {
	stride := max(1, len(s.V)/enough)
	v := make([]float64, 0, len(s.V)/stride+1)
	for k := 0; k < len(s.V); k += stride {
		if x := s.V[k]; x > 0 && s.Flags.At(k) == 0 {
			v = append(v, x)
		}
	}
	if len(v) < fewPairs {
		return 0
	}
	slices.Sort(v)
	return v[len(v)*95/100]
}

// litresBetween adds up a flow and a volume over the time that both cover.
func litresBetween(flow, volume *series.Series) (byFlow, byVolume float64) {
	from, to := max(flow.T[0], volume.T[0]), min(flow.T[len(flow.T)-1], volume.T[len(volume.T)-1])
	for k, t := range flow.T {
		if t <= from || t > to || flow.Flags.At(k) != 0 {
			continue
		}
		dt := flow.IntervalMS
		if flow.From != nil {
			dt = t - flow.From[k]
		}
		byFlow += flow.V[k] * float64(dt) / 60000
	}
	for k, t := range volume.T {
		if t > from && t <= to && volume.Flags.At(k) == 0 {
			byVolume += volume.V[k]
		}
	}
	return byFlow, byVolume
}
