package cycle

import (
	"math"

	"yardheat/analysis/grid"
)

// Earlier says whether hot water is drawn before the tank is hot (a rinse), where
// no wash is metered: what the refill makes up for is then not all hot.
type Earlier struct {
	// Seen of Looked: stretches between washes in which the tank's upper probe
	// fell faster than a standing tank does, and those in which that would have
	// shown.
	Seen, Looked int
}

// Shows: it happened more than once (a farm rinses by habit, and what one fall
// came from is anyone's guess), and before at least one wash in fifty: a mixed
// tank shows it rarely, and nothing else that stands still shows it at all.
func (e Earlier) Shows() bool { return e.Seen >= 2 && 50*e.Seen >= e.Looked }

// earlyWindowS is the stretch over which a fall is looked for; a slower log
// takes one and a half of its intervals.
const earlyWindowS = 900

// LookEarlier looks between washes, from an hour after one to an hour before
// the next, for a fall of the tank's upper probe (tankC by cell, read every
// everyS) by opt.EarlyFallK more than it fell over the stretch before, while the
// compressor stands (on by cell, nil where it is not logged: then nothing is
// looked at, for water from the plate lets the upper probe fall too; nor where a
// log is slower than opt.EarlyEveryS, between whose readings a compressor starts
// and stops unseen). A wash
// with one has CoolC set to the tank's reading there.
//
// A layered tank gives a rinse from its top layer and shows nothing: what is not
// seen may still have been.
func LookEarlier(g *grid.Grid, tankC []float64, everyS float64, washes []Wash, on []float64, opt Options) (e Earlier) {
	if on == nil || everyS > opt.EarlyEveryS {
		return e
	}
	n := max(1, int(math.Ceil(math.Max(earlyWindowS, 1.5*everyS)/g.StepS)))
	hour, every := int(3600/g.StepS), int(math.Ceil(everyS/g.StepS)) // the line between readings leads to what comes after
	for i := 1; i < len(washes); i++ {
		looked, seen := false, false
		for k := washes[i-1].B + hour + n; k+n < washes[i].A-hour; k++ {
			if !stands(on[max(0, k-n-every):min(len(on), k+n+every+1)]) {
				continue
			}
			fall, before := tankC[k]-tankC[k+n], tankC[k-n]-tankC[k]
			if fall != fall || before != before {
				continue
			}
			looked = true
			if before < opt.EarlyFallK && fall-math.Max(before, 0) >= opt.EarlyFallK {
				seen = true
				washes[i].CoolC = tankC[k]
				break
			}
		}
		if looked {
			e.Looked++
		}
		if seen {
			e.Seen++
		}
	}
	return e
}

func stands(on []float64) bool {
	for _, v := range on {
		if !(v == 0) {
			return false
		}
	}
	return true
}
