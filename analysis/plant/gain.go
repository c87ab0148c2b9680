package plant

import (
	"fmt"
	"math"

	"yardheat/analysis/doubt"
)

// Gain is the standing gain of the cold store: heat that leaks into it day and
// night and that the plant must carry away.
type Gain struct {
	// KW is used in the sums.
	KW   float64
	From GainFrom
	// Why it is this and not the other.
	Why string
	// HalfWidthKW: of the 95 % interval (stated, line), or the upper limit of
	// a gain that may lie anywhere from 0 to it (none).
	HalfWidthKW float64
	// Line is the straight line caught against rejected; Lines false: none
	// could be drawn.
	Line  LineResult
	Lines bool

	effects []gainEffect
}

// GainFrom says where the gain comes from.
type GainFrom string

// The gain is stated in the farm file, read off the line, or taken as 0.
const (
	GainStated GainFrom = "stated"
	GainLine   GainFrom = "line"
	GainNone   GainFrom = "none"
)

// gainEffect is what a sensor's error does to the gain read off the line.
type gainEffect struct {
	source int
	kwPer  float64
}

// StatedGain is plant.standing_gain_kw; halfWidthKW its 95 % half-width, NaN
// where the farm gives none.
func StatedGain(kw, halfWidthKW float64, opt Options) Gain {
	g := Gain{KW: kw, From: GainStated, HalfWidthKW: halfWidthKW, Why: "plant.standing_gain_kw of the farm file"}
	if math.IsNaN(halfWidthKW) {
		g.HalfWidthKW = opt.StatedGainError * kw
	}
	return g
}

// FindGain reads the gain off the line of heat caught against heat rejected.
// With rejected heat R = M + W and caught heat Q = f (R + G t) the line through
// the rates Q/t and R/t has the slope f and the intercept f G: G is their
// ratio. It is used only where it is distinct (its interval, sensors' errors
// included, leaves out 0) and possible (not negative, and no better cooling
// per kWh than Options.MaxCOP). Otherwise 0 is used, and what the gain may be
// enters f from one side. sources are those of the trials so far, to which
// the terms respond.
func FindGain(terms Terms, storage Storage, sources []doubt.Source, opt Options) Gain {
	if terms.Milk == nil || terms.Compressor == nil || len(terms.Caught) == 0 || len(terms.Rows) == 0 {
		return Gain{From: GainNone, Why: WhyNoCycles}
	}
	s := sumsOf(terms)
	carry := storage.CarryKWh(s.milkKWh/float64(len(terms.Rows)), opt)
	line, err := fitLine(terms, carry, sources)
	if err != nil {
		return noGain(s, storage, math.Inf(1), "the line of heat caught against heat rejected could not be drawn: "+err.Error(), opt)
	}
	g := judge(line, s, storage, opt)
	g.Line, g.Lines = line, true
	return g
}

// judge decides whether the line's gain is used.
func judge(line LineResult, s sums, storage Storage, opt Options) Gain {
	low, high := line.GainKW-line.GainHalfKW, line.GainKW+line.GainHalfKW
	switch most := s.mostGainKW(opt); {
	case high < 0 || low > most:
		why := fmt.Sprintf("the line puts the standing gain at %s, which is not possible; 0 is used", doubt.Show(line.GainKW, low, high, "kW"))
		return noGain(s, storage, math.Inf(1), why, opt)
	case low <= 0:
		why := fmt.Sprintf("the line puts the standing gain at %s, not distinct from 0; 0 is used", doubt.Show(line.GainKW, low, high, "kW"))
		return noGain(s, storage, high, why, opt)
	}
	return Gain{KW: line.GainKW, From: GainLine, HalfWidthKW: line.randomHalfKW, effects: line.effects,
		Why: "intercept over slope of the line of heat caught against heat rejected"}
}

// noGain takes the gain as 0, and as anything up to a limit in the interval.
func noGain(s sums, storage Storage, upperKW float64, why string, opt Options) Gain {
	share := opt.GainShare
	if storage.Ice {
		share = opt.GainShareIce
	}
	limit := math.Min(share*s.milkKWh/s.hours, math.Min(upperKW, s.mostGainKW(opt)))
	return Gain{From: GainNone, Why: why, HalfWidthKW: math.Max(0, limit)}
}

// Impossible tells whether the line gave a gain that cannot be.
func (g Gain) Impossible(terms Terms, opt Options) bool {
	if !g.Lines {
		return false
	}
	return g.Line.GainKW+g.Line.GainHalfKW < 0 || g.Line.GainKW-g.Line.GainHalfKW > sumsOf(terms).mostGainKW(opt)
}

// Figure is standing_gain_kw. low and high are the trials' interval of it.
func (g Gain) Figure(low, high float64, cycles int, coverage float64) doubt.Figure {
	nan := math.NaN()
	switch {
	case g.From == GainNone && g.HalfWidthKW > 0:
		return doubt.Make(nan, nan, g.HalfWidthKW, "kW", doubt.Estimated, cycles, coverage, g.Why)
	case g.From == GainNone:
		return doubt.Make(nan, nan, nan, "kW", doubt.Estimated, cycles, coverage, g.Why)
	case g.From == GainLine:
		return doubt.Make(g.KW, low, high, "kW", doubt.Fitted, cycles, coverage, "")
	}
	return doubt.Make(g.KW, low, high, "kW", doubt.Estimated, cycles, coverage, "")
}

// source is what stays open of the gain beside the sensors' shared errors.
func (g Gain) source() doubt.Source {
	s := doubt.Source{Name: "plant.standing_gain_kw", Kind: doubt.Shared, HalfWidth: g.HalfWidthKW, Unit: "kW"}
	switch g.From {
	case GainNone:
		s.Name, s.Dist, s.Assumed = "plant.standing_gain_kw (not known)", doubt.Rectangular, true
	case GainLine:
		s.Name, s.Kind = "standing gain read off the line", doubt.Random
	}
	return s
}

// at is the gain under the errors e, its own source at index own.
func (g Gain) at(e []float64, own int) float64 {
	if g.From == GainNone {
		return math.Abs(e[own]) // from 0 to the limit; 0 without errors
	}
	kw := g.KW + e[own]
	for _, f := range g.effects {
		kw += f.kwPer * e[f.source]
	}
	return kw
}

// sums are the cycles' totals without errors.
type sums struct{ milkKWh, compressorKWh, hours float64 }

func sumsOf(t Terms) sums {
	var s sums
	for r, row := range t.Rows {
		value := func(p doubt.Part) float64 { return p.Value(r) }
		s.milkKWh += total(t.Milk, value)
		s.compressorKWh += total(t.Compressor, value)
		s.hours += row.Hours
	}
	return s
}

// mostGainKW is the gain at which the plant would cool MaxCOP times its
// electricity.
func (s sums) mostGainKW(opt Options) float64 {
	return (opt.MaxCOP*s.compressorKWh - s.milkKWh) / s.hours
}
