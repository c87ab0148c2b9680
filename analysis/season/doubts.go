package season

import (
	"math"
	"slices"

	"yardheat/analysis/doubt"
)

// Doubt is one error behind a figure: by what one standard uncertainty of it moves
// the figure, with sign, so that figures which share it can be subtracted.
type Doubt struct {
	Source string
	Dist   doubt.Dist
	// Moves is in the figure's unit, per standard uncertainty of the error; that
	// of a random error has no sign.
	Moves float64
	// Shared: one error for the whole period. Lasting: it is that of an instrument
	// or of a figure in farm.toml, and so the same in another period of the farm
	// while these stay as they are.
	// Instrument: it can drift.
	Shared, Lasting, Instrument bool
}

// WholeDoubts stands before the key of a figure that is estimated for the whole
// period, for Doubts.
const WholeDoubts = "whole: "

// Doubts are the errors behind a figure of the headline, of Bed or of Loop, in
// the order of the sources; nil where the figure rests on its own days alone (or
// is not known). Not to be written to.
func (s *Season) Doubts(key string) []Doubt { return s.doubts[key] }

// doubts takes them from the trials' sources. An error that is made of others
// stands under these.
func (b *builder) doubts() {
	b.s.doubts = map[string][]Doubt{}
	for _, o := range slices.Concat(b.budget, b.weighed) {
		var list []Doubt
		for i, src := range b.reg.sources {
			v := b.result.Variance(i, o.output)
			if len(src.Of) > 0 || !(v > 0) {
				continue
			}
			d := Doubt{Source: src.Name, Dist: src.Dist, Moves: math.Sqrt(v), Shared: src.Kind == doubt.Shared, Lasting: b.reg.lasting[i], Instrument: b.reg.instruments[i]}
			if d.Shared && b.result.Slope(i, o.output) < 0 {
				d.Moves = -d.Moves
			}
			list = append(list, d)
		}
		b.s.doubts[o.key] = list
	}
}
