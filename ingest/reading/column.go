package reading

import (
	"slices"

	"yardheat/ingest/series"
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

// Grow makes room for n more readings.
func (c *Column) Grow(n int) {
	c.T, c.V = slices.Grow(c.T, n), slices.Grow(c.V, n)
}

// good are the indices of the readings without a flag.
func (c *Column) good() []int {
	out := make([]int, 0, len(c.T))
	for i := range c.T {
		if c.Flags.At(i) == 0 {
			out = append(out, i)
		}
	}
	return out
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
// those of its table.
func (c *Column) Compact() {
	if c.Flags.Absent() == 0 {
		return
	}
	var out Column
	out.Grow(c.Len())
	for i, v := range c.V {
		if f := c.Flags.At(i); f&series.Absent == 0 {
			out.Append(c.T[i], v, f, c.Origins.At(i))
		}
	}
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
