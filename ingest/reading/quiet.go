package reading

import (
	"math"

	"yardheat/ingest/series"
)

// Quiet says of each stretch of a series what one look at its readings shows,
// so that the tests need not look again: most stretches of most probes are
// quiet. The zero value says nothing.
type Quiet []quiet

type quiet uint8

// What can be said of a stretch.
const (
	// sound: readings within the limits, none below zero, none the power-on
	// value, or none at all.
	sound quiet = 1 << iota
	// level: sound and whole, and no reading is further from the one before, that before
	// the stretch among them, than a spike's limit.
	level
	// moving: sound and whole, and not all readings are equal.
	moving
)

// stretch is how many readings are looked over together.
const stretch = 64

// quietOf looks a series of temperatures over.
func quietOf(v []float64, l Limits, opt FlagOptions) Quiet {
	low := max(l.Low, 0)
	q := make(Quiet, (len(v)+stretch-1)/stretch)
	for k := range q {
		part := v[k*stretch : min(len(v), (k+1)*stretch)]
		most, prev, whole, ok := 0.0, part[0], true, true
		for _, x := range part {
			if !(x >= low && x <= l.High && math.Abs(x-opt.PowerOnC) > 1e-9) {
				if !math.IsNaN(x) {
					ok = false
					break
				}
				whole = false
				continue
			}
			if d := math.Abs(x - prev); d > most {
				most = d
			}
			prev = x
		}
		if !ok {
			continue
		}
		q[k] = sound
		if !whole {
			continue
		}
		if most > 0 {
			q[k] |= moving
		}
		if k > 0 && most <= l.SpikeK && math.Abs(part[0]-v[k*stretch-1]) <= l.SpikeK {
			q[k] |= level
		}
	}
	return q
}

// at tells whether a stretch that begins at reading i is as said.
func (q Quiet) at(i int, is quiet) bool {
	return i%stretch == 0 && i/stretch < len(q) && q[i/stretch]&is != 0
}

// solid tells whether no run of equal readings can pass through the stretch
// that begins at i: it is whole, moving, and no reading in it is passed over.
func (q Quiet) solid(s *series.Series, i int) bool {
	return i+stretch <= len(s.V) && q.at(i, moving) && s.Flags.Until(i, i+stretch) == i+stretch
}
