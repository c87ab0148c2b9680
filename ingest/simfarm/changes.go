package simfarm

import "fmt"

// Of what a Change is.
const (
	// ChangeUA: the wanted loop coefficient, by a factor (wall to bed; the film
	// stays).
	ChangeUA = "ua"
	// ChangeApproach: the bed's temperature at the probe against that at the
	// pipe, by kelvins: soaked water comes out by so much cooler than the probe
	// says.
	ChangeApproach = "approach"
	// ChangePlate: the plate's effectiveness, by a factor.
	ChangePlate = "plate"
	// ChangeSupply: the supply from bed to slab, by a factor.
	ChangeSupply = "supply"
)

// Change is a step in what the farm is, from a day (may be broken) on. Truth
// then holds means over the season; Seen's UA, a single coefficient fitted to a
// stretch of draws, is not meant for farms whose UA changes.
type Change struct {
	Day float64
	Of  string
	// By is a factor, or kelvins for the approach.
	By float64
}

func (c Change) validate() error {
	switch c.Of {
	case ChangeUA, ChangePlate, ChangeSupply:
		if !(c.By > 0.05 && c.By < 20) {
			return fmt.Errorf("simfarm: change of %s by the factor %g; want 0.05 to 20", c.Of, c.By)
		}
	case ChangeApproach:
		if !(c.By > -30 && c.By < 30) {
			return fmt.Errorf("simfarm: change of the approach by %g K; want -30 to 30", c.By)
		}
	default:
		return fmt.Errorf("simfarm: change of %q; want %s, %s, %s or %s", c.Of, ChangeUA, ChangeApproach, ChangePlate, ChangeSupply)
	}
	return nil
}

// validateChanges also refuses a coefficient that the film would not allow.
func (f *Farm) validateChanges() error {
	factor := 1.0
	for _, c := range f.s.Changes {
		if err := c.validate(); err != nil {
			return err
		}
		if c.Of == ChangeUA {
			factor *= c.By
		}
		if ua, film := factor*f.s.Loop.UAWPerK/1000, f.filmKW(f.s.Loop.FlowLMin); ua >= film {
			return fmt.Errorf("simfarm: UA of %.0f W/K is more than the film's %.0f W/K", 1000*ua, 1000*film)
		}
	}
	return nil
}

// bedGOf is the conductance from wall to bed, kW/K, at which film and bed in
// series make factor times the wanted UA.
func (f *Farm) bedGOf(factor float64) float64 {
	return 1 / (1000/(factor*f.s.Loop.UAWPerK) - 1/f.filmKW(f.s.Loop.FlowLMin))
}

// changeTo brings about what has changed until a day of the season.
func (m *sim) changeTo(day float64) {
	ua, supply := 1.0, 1.0
	m.probeStepK, m.plateFactor = 0, 1
	for _, c := range m.s.Changes {
		if c.Day > day {
			continue
		}
		switch c.Of {
		case ChangeUA:
			ua *= c.By
		case ChangeApproach:
			m.probeStepK += c.By
		case ChangePlate:
			m.plateFactor *= c.By
		case ChangeSupply:
			supply *= c.By
		}
	}
	if ua != m.uaFactor || supply != m.supplyFactor {
		m.uaFactor, m.supplyFactor, m.bedG = ua, supply, m.f.bedGOf(ua)
		cells := float64(m.s.Loop.Cells)
		m.chain.bedG, m.chain.supplyG = m.bedG/cells, supply*m.s.Slab.SupplyWPerK/1000/cells
		m.chain.cacheDT = 0 // of the old coefficients
	}
}
