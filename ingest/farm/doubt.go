package farm

import "yardheat/ingest/series"

// ProbeError is the error of a probe: as stated for quantity@place, else for
// the quantity, else a default by kind, and then assumed is true. fit is
// "pocket", "pipe" or "" (not stated). from says how the quantity is known:
// "counter", "amount", "rate", "amps" (a current clamp) or "state" (on/off
// times a rated figure). Half-widths at 95 %, normal.
//
// A temperature whose fit is not stated is taken to be in a pocket where the
// probe stands in a tank, bed, slab or the air, or in milk; on a water or gas
// pipe it is taken to be strapped on, the poorer of the two.
func (f *Farm) ProbeError(q series.Quantity, place, fit, from string) (e StatedError, assumed bool) {
	if f != nil {
		for _, key := range [...]string{string(q) + "@" + place, string(q)} {
			for _, s := range f.Errors {
				if s.Key == key {
					return s, false
				}
			}
		}
	}
	half, relative := defaultError(q, fit, from)
	return StatedError{Key: string(q), HalfWidth: half, Relative: relative}, true
}

// Defaults by kind: those of the farm file's description; gauges, levels and
// fixed flows are common practice, no source.
func defaultError(q series.Quantity, fit, from string) (half float64, relative bool) {
	info, _ := series.Lookup(q)
	switch info.Class {
	case series.Temperature:
		return temperatureError(q, fit, info.Pipe), false
	case series.Flow:
		if from == "state" {
			return 0.10, true
		}
		return byMeter(from, 0.05), true
	case series.Volume:
		if q == "milk_volume" {
			return 0.02, true
		}
		return byMeter(from, 0.03), true
	case series.Power, series.Energy:
		switch from {
		case "state":
			return 0.15, true
		case "amps":
			return 0.05, true
		}
		return 0.02, true
	case series.Pressure:
		return 0.02, true
	case series.Level:
		return 5, false
	}
	return 0, false
}

// byMeter: a pulse meter's counts and amounts 3 %, a flow 5 %.
func byMeter(from string, otherwise float64) float64 {
	switch from {
	case "counter", "amount":
		return 0.03
	case "rate":
		return 0.05
	}
	return otherwise
}

func temperatureError(q series.Quantity, fit string, pipe bool) float64 {
	milk := q == "milk_in_temp" || q == "milk_out_temp"
	if fit == "pipe" || fit == "" && pipe && !milk {
		return 1
	}
	return 0.5
}

// KeyError is the error of a figure that the farm file states, such as
// "loop.draw_l" or "instead.efficiency": as stated in [errors], else the
// default for the key, and then assumed is true. A half-width of 0 means that
// the figure is taken as exact.
func (f *Farm) KeyError(key string) (e StatedError, assumed bool) {
	if f != nil {
		for _, s := range f.Errors {
			if s.Key == key {
				return s, false
			}
		}
	}
	k := farmKeys[key]
	return StatedError{Key: key, HalfWidth: k.assumed, Relative: k.relative}, true
}
