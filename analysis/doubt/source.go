package doubt

import (
	"fmt"
	"math"
	"strconv"
)

// Kind says how an error behaves over time.
type Kind string

// A shared error is one for the whole season and does not average away; a
// random one is new with each reading, day or cycle.
const (
	Shared Kind = "shared"
	Random Kind = "random"
)

// Dist is the distribution that an error is drawn from.
type Dist uint8

// The distributions. Resample draws no number: it picks which blocks of days
// happened, see Trial.Weights. OneSided is rectangular from 0 to HalfWidth: an
// error whose sign is known, and not its size. What it says is not taken off, so
// that the interval reaches further to one side.
const (
	Normal Dist = iota
	Rectangular
	Resample
	OneSided
)

// z95 is the 97.5 % point of the standard normal distribution.
const z95 = 1.959963984540054

// Source is one thing that may be wrong: a probe, a meter, a stated figure,
// or the choice of days.
type Source struct {
	// Name as the budget prints it: a probe or a farm-file key.
	Name string
	Kind Kind
	Dist Dist
	// HalfWidth: of the 95 % interval for Normal, the limits for Rectangular.
	// In Unit, or a fraction (0.05 for 5 %) with Relative.
	HalfWidth float64
	Relative  bool
	Unit      string
	// Assumed: nobody stated it; a default by kind.
	Assumed bool
	// Blocks, with Resample: the days to choose from.
	Blocks *Blocks
	// Sensors are the instruments (or farm-file keys) whose error it is; none =
	// Name itself. Of several, each has the part of its Load.
	Sensors []string
	// Of: the error is made of those of other sources, which stand before it, and
	// draws nothing of its own; HalfWidth is then what comes of them.
	Of []Load
}

// Load is the part that another source's error has in one: the error is the sum
// of Weight times the error of Source.
type Load struct {
	Source int
	Weight float64
}

// U is the standard uncertainty: U95/1.96 for a normal error, a/√3 for
// rectangular limits (JCGM 100:2008, 4.3.4 and 4.3.7), 0 for Resample.
func (s Source) U() float64 {
	switch s.Dist {
	case Normal:
		return s.HalfWidth / z95
	case Rectangular:
		return s.HalfWidth / math.Sqrt(3)
	case OneSided:
		return s.HalfWidth / math.Sqrt(12)
	}
	return 0
}

// Error is the source's own error in words: "0.5 K", "5 %", "0.5 K limits",
// "blocks of 3 days".
func (s Source) Error() string {
	if s.Dist == Resample {
		if s.Blocks == nil {
			return ""
		}
		return fmt.Sprintf("blocks of %d days", s.Blocks.Length)
	}
	value, unit := s.HalfWidth, ShowUnit(s.Unit)
	if s.Relative {
		value, unit = 100*value, "%"
	}
	text := strconv.FormatFloat(value, 'g', 3, 64)
	if unit != "" {
		text += " " + unit
	}
	switch s.Dist {
	case Rectangular:
		text += " limits"
	case OneSided:
		text = "0 to " + text
	}
	return text
}

func (s Source) check() error {
	switch {
	case s.Dist == Resample && s.Blocks == nil:
		return fmt.Errorf("doubt: source %q resamples days but has none", s.Name)
	case len(s.Of) > 0 && s.Dist != Normal:
		return fmt.Errorf("doubt: source %q is made of others and yet draws of its own", s.Name)
	case s.Dist != Resample && (!(s.HalfWidth >= 0) || math.IsInf(s.HalfWidth, 0)):
		return fmt.Errorf("doubt: source %q has the half-width %v; want a finite number, 0 or more", s.Name, s.HalfWidth)
	}
	return nil
}
