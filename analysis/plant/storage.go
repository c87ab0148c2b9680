package plant

import (
	"fmt"
	"math"

	"yardheat/analysis/doubt"
)

// Storage is what the logs say of a cold store between compressor and milk.
type Storage struct {
	// Ice: an ice bank, or something that acts like one.
	Ice bool
	// Why it is thought so.
	Why string
	// LevelKnown: ice_level is logged at both ends; ChangePct is its change.
	LevelKnown bool
	ChangePct  float64
}

// Evidence is what a cold store is told from.
type Evidence struct {
	IceWaterProbe bool // an ice_water_temp is logged
	// LevelKnown: ice_level is logged at both ends of the period.
	LevelKnown     bool
	LevelChangePct float64
	// LateShare is the share of compressor electricity more than
	// Options.LateHours after the end of a milking; NaN = not known.
	LateShare float64
}

// FindStorage judges the evidence.
func FindStorage(e Evidence, opt Options) Storage {
	s := Storage{LevelKnown: e.LevelKnown, ChangePct: e.LevelChangePct}
	switch {
	case e.LevelKnown:
		s.Ice, s.Why = true, "ice_level is logged"
	case e.IceWaterProbe:
		s.Ice, s.Why = true, "ice_water_temp is logged"
	case e.LateShare > opt.LateShare:
		s.Ice = true
		s.Why = fmt.Sprintf("%.0f %% of the compressor electricity is used more than %g h after a milking", 100*e.LateShare, opt.LateHours)
	default:
		s.Why = "the compressor stops soon after each milking"
	}
	return s
}

// CarryKWh is the most that the store's cold can differ from one moment to
// another, in kWh of heat at the milk: up to one milking's milk heat with an
// ice bank, by its change where the ice level is logged, else little.
func (s Storage) CarryKWh(milkKWhPerMilking float64, opt Options) float64 {
	share := opt.CarryShareLittle
	switch {
	case s.LevelKnown:
		share += opt.CarryShareIce * math.Abs(s.ChangePct) / 100
	case s.Ice:
		share = opt.CarryShareIce
	}
	return share * math.Abs(milkKWhPerMilking)
}

// carrySources are the store at the start and at the end. Each lies anywhere
// between empty and full, so rectangular limits of half of carryKWh about the
// middle; the change between them reaches carryKWh. Cycles that do not adjoin
// (some were left out) have two ends a run: many ends make a normal error.
func carrySources(carryKWh float64, runs int) (start, end doubt.Source) {
	s := doubt.Source{Kind: doubt.Random, Dist: doubt.Rectangular, HalfWidth: carryKWh / 2, Unit: "kWh", Assumed: true}
	if runs > 1 {
		s.Dist = doubt.Normal
		s.HalfWidth = 1.96 * s.HalfWidth * math.Sqrt(float64(runs)/3)
	}
	start, end = s, s
	start.Name, end.Name = "cold stored at the start of the cycles", "cold stored at their end"
	return start, end
}

// runs counts the stretches of cycles that adjoin.
func runs(rows []Row) int {
	const slackMS = 60_000
	n := 0
	for i, r := range rows {
		if i == 0 || r.StartMS > rows[i-1].EndMS+slackMS {
			n++
		}
	}
	return n
}
