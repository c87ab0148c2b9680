package reading

import (
	"slices"

	"yardheat/ingest/series"
	"yardheat/ingest/series/room"
)

// Column is what one probe's cells say: stamps in true UTC (ms), ascending,
// values in the base unit, flags set so far (duplicate, order, range for
// stamps in the future) and where each stands.
type Column struct {
	// T is shared by the columns of one table and never written to.
	T []int64
	// V is NaN just where there is no reading (series.Absent).
	V       []float64
	Flags   series.Flags
	Origins series.Origins
}

// Len is the number of readings.
func (c *Column) Len() int { return len(c.T) - c.Flags.Absent() }

// Append adds one reading.
func (c *Column) Append(t int64, v float64, f series.Flag, o series.Origin) {
	c.T, c.V = append(c.T, t), append(c.V, v)
	c.Flags.Append(f)
	c.Origins.Append(o)
}

// good are the readings without a flag.
func (c *Column) good() goods {
	g := goods{n: len(c.T) - c.Flags.Set()}
	if g.n == len(c.T) {
		return g
	}
	g.list = make([]int, 0, g.n)
	for i := range c.T {
		if c.Flags.At(i) == 0 {
			g.list = append(g.list, i)
		}
	}
	return g
}

// goods are n indices of readings; list is nil where they are the first n.
type goods struct {
	n    int
	list []int
}

func (g *goods) at(k int) int {
	if g.list == nil {
		return k
	}
	return g.list[k]
}

// Add appends the readings of another column to all but the stamps, which the
// caller joins.
func (c *Column) Add(p *Column) {
	c.V = append(c.V, p.V...)
	for i := range p.T {
		c.Flags.Append(p.Flags.At(i))
	}
	c.Origins.AppendAll(&p.Origins)
}

// Compact drops the stamps without a reading: the column no longer shares
// those of its table. Its values move up where they stand.
func (c *Column) Compact() {
	if c.Flags.Absent() == 0 {
		return
	}
	out := Column{T: room.Cap[int64](c.Len()), V: c.V[:0], Flags: series.NewFlags(c.Len())}
	lo := 0
	upTo := func(i int) {
		out.T, out.V = append(out.T, c.T[lo:i]...), append(out.V, c.V[lo:i]...)
		out.Origins.AppendPart(&c.Origins, lo, i)
	}
	for i, f := range c.Flags.All() {
		switch {
		case f&series.Absent != 0:
			upTo(i)
			lo = i + 1
		default:
			out.Flags.Or(len(out.T)+i-lo, f)
		}
	}
	upTo(len(c.T))
	*c = out
}

// mostSteps is how many steps settle the usual interval.
const mostSteps = 20000

// Pace is the usual (median) step between stamps that differ, and whether the
// steps are regular: more than half of them within a quarter of the usual one.
// Zero for fewer than two stamps.
func Pace(t []int64) (usualMS int64, regular bool) {
	stride := max(1, len(t)/mostSteps)
	steps := make([]int64, 0, min(len(t), mostSteps)+1)
	for i := 1; i < len(t); i += stride {
		if d := t[i] - t[i-1]; d > 0 {
			steps = append(steps, d)
		}
	}
	if len(steps) == 0 {
		return 0, false
	}
	slices.Sort(steps)
	usualMS = steps[len(steps)/2]
	near := 0
	for _, d := range steps {
		if 4*d >= 3*usualMS && 4*d <= 5*usualMS {
			near++
		}
	}
	return usualMS, 2*near > len(steps)
}
