package simfarm

import "slices"

// Form is how a logger sums up what happens between two rows.
type Form string

// The forms: values at the stamp beside running counters; means over the
// interval, temperatures too, stamped at its start or its end.
const (
	FormInstant   Form = "instant"
	FormMeanStart Form = "mean, stamped at the start"
	FormMeanEnd   Form = "mean, stamped at the end"
)

// meters are the two ways in which a meter can be logged: as a running counter,
// as a mean rate.
var meters = []struct {
	total, rate         string
	totalUnit, rateUnit string
	mean                Mode
}{
	{"loop_volume", "loop_flow", "L", "L/min", MeanPerMinute},
	{"plate_volume", "plate_flow", "L", "L/min", MeanPerMinute},
	{"wash_volume", "wash_flow", "L", "L/min", MeanPerMinute},
	{"element_energy", "element_power", "kWh", "kW", MeanKW},
	{"compressor_energy", "compressor_power", "kWh", "kW", MeanKW},
}

// Relog gives every logger of s another interval and form, with the same errors
// of its probes: the farm stays what it was.
func Relog(s Scenario, intervalS int, form Form) Scenario {
	s.Errors, s.Loggers = slices.Clone(s.Errors), slices.Clone(s.Loggers)
	// A mean is one of what the probe showed all the while, not of its readings
	// at whole minutes.
	s.Fine = s.Fine || form != FormInstant
	for i := range s.Loggers {
		l := &s.Loggers[i]
		l.IntervalS, l.IdleGaps, l.Gaps, l.Columns = intervalS, 0, nil, slices.Clone(l.Columns)
		switch form {
		case FormInstant:
			l.StampAt = ""
		case FormMeanStart:
			l.StampAt = "start"
		case FormMeanEnd:
			l.StampAt = "end"
		}
		for c := range l.Columns {
			l.Columns[c].relog(form)
		}
	}
	for i := range s.Errors {
		for _, m := range meters {
			switch e := &s.Errors[i]; {
			case form == FormInstant && e.Key == m.rate:
				e.Key = m.total
			case form != FormInstant && e.Key == m.total:
				e.Key = m.rate
			}
		}
	}
	return s
}

func (c *Column) relog(form Form) {
	for _, m := range meters {
		if c.Quantity != m.total && c.Quantity != m.rate {
			continue
		}
		c.Decimals, c.StartAt = 3, 0
		c.Quantity, c.Unit, c.Mode, c.Step = m.total, m.totalUnit, Counter, 0.1
		if m.mean == MeanKW {
			c.Step = 0.01
		}
		if form != FormInstant {
			c.Quantity, c.Unit, c.Mode = m.rate, m.rateUnit, m.mean
		}
		return
	}
	if form != FormInstant && c.NoiseK > 0 {
		c.Mode = MeanOver
	}
}

// meanOver is the mean of a signal over the seconds before s.
func (f *Farm) meanOver(sig Signal, s, everyS float64) float64 {
	sum, n := 0.0, 0.0
	for at := s - everyS + stepS/2; at < s; at += stepS {
		sum, n = sum+f.at(sig, at), n+1
	}
	return sum / n
}
