package simfarm

import (
	"math/rand/v2"
	"strings"
)

// Apart is a random short farm (see Short) whose flow meters have a logger of
// their own, with a clock that is off against that of the temperatures: by a
// normal error of sdS seconds, drawn again where it is more than mostS, and a
// drift. All logs are at intervalS. The drawn offset is AheadS of the logger
// "meters" at the middle of the record (stamp minus true time); the other
// clocks are right.
func Apart(seed uint64, intervalS int, sdS, mostS, driftSPerDay float64) Scenario {
	s := Short(seed)
	r := rand.New(rand.NewPCG(seed, 0xa9a27))
	ahead := sdS * r.NormFloat64()
	for ahead > mostS || ahead < -mostS {
		ahead = sdS * r.NormFloat64()
	}
	meters := Logger{Name: "meters", Format: "csv", Separator: ',', Stamp: "iso", AheadS: ahead, DriftSPerDay: driftSPerDay * r.NormFloat64()}
	for i := range s.Loggers {
		l := &s.Loggers[i]
		var kept []Column
		for _, c := range l.Columns {
			if strings.HasSuffix(c.Quantity, "_flow") {
				meters.Columns = append(meters.Columns, c)
			} else {
				kept = append(kept, c)
			}
		}
		l.Columns = kept
	}
	s.Loggers = append(s.Loggers, meters)
	for i := range s.Loggers {
		s.Loggers[i].IntervalS = intervalS
	}
	s.Fine = true
	return s
}
