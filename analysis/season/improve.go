package season

import (
	"fmt"
	"math"
	"sort"

	"yardheat/analysis/doubt"
	"yardheat/analysis/match"
	"yardheat/ingest/series"
)

// SensorRow is one instrument's, or one stated figure's, part in the headline
// figures, shared and random apart.
type SensorRow struct {
	Sensor, Kind string
	// Error: its own, as printed, of the source that makes the most of it.
	Error   string
	Assumed bool
	// Shares of the variance by headline figure; those below a two-thousandth are
	// left out of a row, and rows without one of the list.
	Shares []Share
}

// Share of one figure's variance.
type Share struct {
	Figure string
	Share  float64
}

// Improve is the one thing at the farm that would narrow a figure the most.
type Improve struct {
	Figure string
	// Sensors: the instruments whose error it makes smaller; none where nothing
	// narrows the figure by enough.
	Sensors []string
	// Measure: what to do, in words; "" where nothing helps.
	Measure string
	// Then: the figure with the interval that it would have.
	Then Figure
	// Narrower: by which share the interval would shrink, 0 to 1.
	Narrower float64
	// Text says it in one line.
	Text string
}

// ImproveOptions: what the measures leave of an error, half-widths at 95 %
// (common practice, no source).
type ImproveOptions struct {
	// BucketK: two probes in one bucket of stirred water; IceK: one in crushed ice
	// and water.
	BucketK, IceK float64
	// WeighedShare: a meter against a weighed bucket; MeterShare: a rated power or
	// a clamp against a kWh meter; SlipShare: milk against the dairy's slips.
	WeighedShare, MeterShare, SlipShare float64
	// Efficiency: the alternative's, by a test on the spot.
	Efficiency float64
	// LeastShare: what narrows an interval by less is not worth the walk.
	LeastShare float64
}

func defaultImprove() ImproveOptions {
	return ImproveOptions{BucketK: 0.1, IceK: 0.2, WeighedShare: 0.01, MeterShare: 0.01, SlipShare: 0.005, Efficiency: 0.02, LeastShare: 0.05}
}

func (o ImproveOptions) validate() error {
	for _, b := range []struct {
		name string
		v    float64
	}{{"BucketK", o.BucketK}, {"IceK", o.IceK}, {"WeighedShare", o.WeighedShare}, {"MeterShare", o.MeterShare}, {"SlipShare", o.SlipShare},
		{"Efficiency", o.Efficiency}, {"LeastShare", o.LeastShare}} {
		if !(b.v >= 0 && b.v <= 1) {
			return fmt.Errorf("season: option Improve.%s is %g; want 0 to 1", b.name, b.v)
		}
	}
	return nil
}

// sensorRows adds the budget up by instrument.
func (b *builder) sensorRows() {
	at := map[[2]string]int{}
	for _, o := range b.budget {
		for _, r := range b.result.BySensor(o.output) {
			if r.Share < 0.0005 {
				continue
			}
			key := [2]string{r.Sensor, string(r.Kind)}
			i, ok := at[key]
			if !ok {
				src := b.reg.sources[r.Largest]
				if k, own := b.reg.byName[r.Sensor]; own {
					src = b.reg.sources[k]
				}
				i = len(b.s.Sensors)
				at[key] = i
				b.s.Sensors = append(b.s.Sensors, SensorRow{Sensor: r.Sensor, Kind: key[1], Error: src.Error(), Assumed: src.Assumed})
			}
			b.s.Sensors[i].Shares = append(b.s.Sensors[i].Shares, Share{o.key, r.Share})
		}
	}
	sort.SliceStable(b.s.Sensors, func(i, j int) bool { return b.s.Sensors[i].most() > b.s.Sensors[j].most() })
}

func (r SensorRow) most() float64 {
	most := 0.0
	for _, s := range r.Shares {
		most = max(most, s.Share)
	}
	return most
}

// improveKeys are the figures for which one measure is named.
var improveKeys = []string{"saved_kwh", "loop_kwh", "plant_kwh", "ua_w_per_k", "recovery_fraction", "wash_kwh"}

// measure is one thing that can be done, and by how much it would lower the
// variance of the figure in hand.
type measure struct {
	sensors []string
	text    string
	less    float64
}

// improve names, for the saving, the two heats and what follows, the one measure that would
// narrow it the most, and the interval by the linear budget.
func (b *builder) improve() {
	for _, key := range improveKeys {
		for _, o := range b.budget {
			if f, ok := b.headlineFigure(key); o.key == key && ok && f.Figure.High > f.Figure.Low {
				b.s.Improve = append(b.s.Improve, b.best(key, o.output))
			}
		}
	}
}

func (b *builder) best(key string, k int) Improve {
	now, _ := b.headlineFigure(key)
	var best measure
	for _, m := range append(b.byBucket(k), b.byMeter(k)...) {
		if m.less > best.less {
			best = m
		}
	}
	low, high := b.result.Narrowed(k, best.less)
	f := now.Figure
	out := Improve{Figure: key, Then: doubt.Make(f.Value, low, high, f.Unit, f.Basis, f.N, f.Coverage, "")}
	out.Narrower = 1 - (high-low)/(f.High-f.Low)
	if !(out.Narrower >= b.opt.Improve.LeastShare) {
		out.Narrower, out.Then = 0, f
		out.Text = fmt.Sprintf("%s: nothing that can be done to one instrument at the farm would narrow %s by more than %.0f %%.", now.Label, f.Shown, 100*b.opt.Improve.LeastShare)
		return out
	}
	out.Sensors, out.Measure = best.sensors, best.text
	out.Text = fmt.Sprintf("%s: %s. %s would become %s.", now.Label, best.text, f.Shown, out.Then.Shown)
	return out
}

// byBucket: temperature probes held against each other, or against ice; what
// the record's still water would give, where it gives anything, costs nothing.
func (b *builder) byBucket(k int) []measure {
	m, o := b.compared, b.opt.Improve
	slope := b.probeSlopes(k)
	now := b.reg.joint.Variance(slope)
	var out []measure
	for i, a := range m.channels {
		if slope[i] == 0 || b.reg.joint.SD(i) == 0 {
			continue
		}
		if u := o.IceK / z95; b.reg.joint.SD(i) > u {
			out = append(out, measure{[]string{m.name(a)}, fmt.Sprintf("hold %q in crushed ice and water and state its error and offset (± %g K)", m.name(a), o.IceK), now - b.reg.joint.Known(i, u).Variance(slope)})
		}
		for j := i + 1; j < len(m.channels); j++ {
			c := m.channels[j]
			if slope[j] == 0 || !b.piped(a) || !b.piped(c) || m.within(a, c, o.BucketK) {
				continue
			}
			with, err := b.reg.joint.With(match.Stated([]int{i, j}, 0, o.BucketK))
			if err == nil {
				out = append(out, measure{[]string{m.name(a), m.name(c)},
					fmt.Sprintf("hold %q and %q together in one bucket of stirred water and enter what they read under [[matched]] (± %g K)", m.name(a), m.name(c), o.BucketK), now - with.Variance(slope)})
			}
		}
	}
	return out
}

// probeSlopes are what output k moves by per kelvin of each temperature probe.
func (b *builder) probeSlopes(k int) []float64 {
	slope := make([]float64, len(b.compared.channels))
	for channel, i := range b.reg.temperatures {
		if g := b.result.Slope(i, k); g == g {
			slope[b.compared.row[channel]] = g
		}
	}
	return slope
}

func (b *builder) piped(channel int) bool {
	info, _ := series.Lookup(b.grid.Channels[channel].Quantity)
	return info.Pipe
}

// byMeter: meters and stated figures, each by itself.
func (b *builder) byMeter(k int) []measure {
	var out []measure
	for i, s := range b.reg.sources {
		half, text := b.byHand(i, s)
		v := b.result.Variance(i, k)
		if text == "" || v == 0 || half/z95 >= s.U() {
			continue
		}
		f := half / z95 / s.U()
		out = append(out, measure{[]string{s.Name}, text, v * (1 - f*f)})
	}
	return out
}

// byHand is what a practical measure leaves of a source's error (half-width at
// 95 %), and the measure; "" where none is known.
func (b *builder) byHand(i int, s doubt.Source) (half float64, text string) {
	o := b.opt.Improve
	if q, ok := b.reg.meters[i]; ok && s.Relative {
		info, _ := series.Lookup(q)
		switch {
		case q == "milk_volume":
			return o.SlipShare, fmt.Sprintf("hold %q against the dairy's collection slips and state its error (%g %%)", s.Name, 100*o.SlipShare)
		case info.Class == series.Flow || info.Class == series.Volume:
			return o.WeighedShare, fmt.Sprintf("weigh a bucket filled through %q and state its error (%g %%)", s.Name, 100*o.WeighedShare)
		case info.Class == series.Power || info.Class == series.Energy:
			return o.MeterShare, fmt.Sprintf("read a kWh meter beside %q over a week and state its error (%g %%)", s.Name, 100*o.MeterShare)
		}
	}
	switch s.Name {
	case "loop.draw_l":
		return o.WeighedShare, fmt.Sprintf("weigh, or meter, the litres of a refill, state them as %s and enter its error (%g %%)", s.Name, 100*o.WeighedShare)
	case "loop.flow_l_min", "plate.flow_l_min":
		return o.WeighedShare, fmt.Sprintf("weigh what flows in a minute, state it as %s and enter its error (%g %%)", s.Name, 100*o.WeighedShare)
	case "element.power_kw", "plant.compressor_kw", "pumps.loop_kw", "pumps.plate_kw":
		return o.MeterShare, fmt.Sprintf("read the kWh meter over a week in place of the rating %s and enter its error (%g %%)", s.Name, 100*o.MeterShare)
	case "instead.efficiency":
		if !s.Relative {
			return o.Efficiency, fmt.Sprintf("have the efficiency of what would heat the water instead tested, and state it to ± %g", o.Efficiency)
		}
	case "milkings list: milk_volume":
		return o.SlipShare, fmt.Sprintf("hold the milkings' litres against the dairy's collection slips and state their error (%g %%)", 100*o.SlipShare)
	case leadName:
		return 0, "measure the pipe between the bed and the outlet probe and state loop.lead_l"
	}
	return math.NaN(), ""
}
