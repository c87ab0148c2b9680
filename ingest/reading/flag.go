package reading

import (
	"math"

	"yardheat/ingest/series"
)

// Beside is what stands beside a series and says whether something moved: the
// flow (or valve, pump) through its pipe, and probes like it.
type Beside struct {
	Flow []*series.Series
	Like []*series.Series
	// Quiet tells whether the bed was disturbed about that time.
	Quiet func(tMS int64) bool
}

// Flag flags the readings of a series that are not to be used and keeps them
// in their places. Noise about zero of a flow or power is read as 0 and
// counted. quiet is for FlagBeside. written turns a value back into the number as written, as the codes
// of loggers stand there.
//
// A series is flagged in one pass per test; each test looks only at readings
// that the tests before it left.
func Flag(s *series.Series, l Limits, written func(float64) float64, opt FlagOptions) (noise int, quiet Quiet) {
	info, _ := series.Lookup(s.Quantity)
	switch info.Class {
	case series.Temperature:
		quiet = quietOf(s.V, l, opt)
		temperatureCodes(s, l, quiet, written, opt)
	case series.OnOff:
		for i, v := range s.V {
			if v != 0 && v != 1 && s.Flags.At(i)&series.Absent == 0 {
				s.Flags.Or(i, series.Range)
			}
		}
		return 0, nil
	default:
		if s.Kind != series.Amount {
			noise = zeroNoise(s, opt)
			loggerCodes(s, l, written)
		}
	}
	outOfRange(s, l, quiet, opt)
	return noise, quiet
}

// FlagBeside flags what only shows beside others: spikes, rates, stuck probes.
// It comes after Flag has been over all the series of the record.
func FlagBeside(s *series.Series, l Limits, quiet Quiet, b Beside, opt FlagOptions) {
	if !math.IsNaN(l.RateKPerH) {
		rate(s, l, b, opt)
	}
	if !math.IsNaN(l.SpikeK) {
		spikes(s, l, quiet, b, opt)
	}
	if !math.IsNaN(l.StuckH) {
		stuck(s, l, quiet, b, opt)
	}
}

// outOfRange flags readings outside the limits; sound stretches
// have none.
func outOfRange(s *series.Series, l Limits, quiet Quiet, opt FlagOptions) {
	limit := math.Inf(1)
	if s.Kind == series.Amount && s.IntervalMS > 0 && !s.Counter && s.Quantity != "milk_volume" {
		limit = rateCap(s.Quantity, opt)
	}
	capped := s.From != nil && !math.IsInf(limit, 1)
	for i := 0; i < len(s.V); i++ {
		if quiet.at(i, sound) {
			i += stretch - 1
			continue
		}
		v := s.V[i]
		if (v < l.Low || v > l.High || capped && v > limit*float64(max(s.T[i]-s.From[i], s.IntervalMS))) && s.Flags.At(i) == 0 {
			s.Flags.Or(i, series.Range)
		}
	}
}

// zeroNoise reads as 0 what a flow meter or current clamp shows below zero
// while nothing passes.
func zeroNoise(s *series.Series, opt FlagOptions) int {
	n := 0
	limit := math.NaN()
	for i, v := range s.V {
		if v >= 0 || s.Flags.At(i) != 0 {
			continue
		}
		if math.IsNaN(limit) {
			limit = opt.NoiseShare * quantileOfPositive(s, 0.95)
		}
		if -v <= limit {
			s.V[i] = 0
			n++
		}
	}
	return n
}

// codes are what loggers write, as numbers, where they have no reading
// (common practice, no source).
var codes = [...]float64{-127, -196.6, -999, -999.9, -999.99, -9999, -99999, -888.8, 999, 999.9, 999.99, 9999, 9999.9, 99999, 6999, 7999, -6999, -7999,
	32767, -32768, 3276.7, -3276.8, 327.67, -327.68, 65535, 6553.5, 655.35, 2147483647, -2147483648, 4294967295, 1e10, -1e10, 1e30, -1e30, 8888, 888.8, 850, 1270}

// leastCode lies below the size of every code: most readings are below it.
const leastCode = 126

func isCode(written float64) bool {
	if math.Abs(written) < leastCode {
		return false
	}
	for _, c := range codes {
		// The number as written went through a unit and back.
		if math.Abs(written-c) <= 1e-9*math.Abs(c) {
			return true
		}
	}
	return false
}

// allOnes is what a chip of 1/16 K resolution gives when every bit reads 1,
// and as two decimals print it.
var allOnes = [...]float64{-0.0625, -0.06, -0.063}

// temperatureCodes flags codes for "no reading". A code outside the range is
// one for certain; the chip's power-on value and all-ones are honest readings
// elsewhere and flagged only where both neighbours are far from them.
// Sound stretches hold none.
func temperatureCodes(s *series.Series, l Limits, quiet Quiet, written func(float64) float64, opt FlagOptions) {
	for i := 0; i < len(s.V); i++ {
		if quiet.at(i, sound) {
			i += stretch - 1
			continue
		}
		v := s.V[i]
		if (v < l.Low || v > l.High) && s.Flags.At(i) == 0 && (isCode(written(v)) || isCode(v)) {
			s.Flags.Or(i, series.Sentinel)
		}
	}
	if s.Quantity == "tank_setpoint" || s.Quantity == "element_setpoint" {
		return // a figure that was set, no probe
	}
	farK := opt.PowerOnK
	if float64(s.IntervalMS) > 1000*opt.SpikeWaterMaxIntervalS {
		farK = opt.PowerOnSlowK
	}
	for i := 0; i < len(s.V); {
		if quiet.at(i, sound) {
			i += stretch
			continue
		}
		if !mayBeCode(s.V[i], opt) || s.Flags.At(i) != 0 {
			i++
			continue
		}
		end := equalRun(s, i)
		if standsApart(s, i, end, farK, opt) {
			for k := i; k < end; k++ {
				if s.Flags.At(k) == 0 {
					s.Flags.Or(k, series.Sentinel)
				}
			}
		}
		i = end
	}
}

// mayBeCode tells whether a temperature is one of the codes that may be honest.
func mayBeCode(v float64, opt FlagOptions) bool {
	return math.Abs(v-opt.PowerOnC) <= 1e-9 || v < 0 && v > -1 &&
		(math.Abs(v-allOnes[0]) <= 1e-9 || math.Abs(v-allOnes[1]) <= 1e-9 || math.Abs(v-allOnes[2]) <= 1e-9)
}

// standsApart tells whether a run of equal readings [i, end) shows a code that
// may be honest and lies far from the readings on both sides. At the record's
// edge or beside a gap (a restart) the other side alone decides.
func standsApart(s *series.Series, i, end int, farK float64, opt FlagOptions) bool {
	v := s.V[i]
	before, after := goodBefore(s, i), goodAfter(s, end)
	sides := 0
	if before >= 0 && !gapBetween(s, before, i, opt) {
		if math.Abs(s.V[before]-v) <= farK {
			return false
		}
		sides++
	}
	if after >= 0 && !gapBetween(s, end-1, after, opt) {
		if math.Abs(s.V[after]-v) <= farK {
			return false
		}
		sides++
	}
	return sides > 0
}

// equalRun is the end of the run of equal readings that begins at i, flagged
// ones passed over.
func equalRun(s *series.Series, i int) int {
	end := i + 1
	for end < len(s.V) && (s.V[end] == s.V[i] || s.Flags.At(i) == 0 && s.Flags.At(end) != 0) {
		end++
	}
	for end > i+1 && s.Flags.At(end-1) != 0 {
		end--
	}
	return end
}

// loggerCodes flags codes in flows, powers, pressures and levels: out of range,
// or more than three times any other reading.
func loggerCodes(s *series.Series, l Limits, written func(float64) float64) {
	most := 0.0
	var at []int
	for i, v := range s.V {
		if s.Flags.At(i) != 0 {
			continue
		}
		if math.Abs(v) > 3*most || v < l.Low || v > l.High {
			if isCode(written(v)) {
				at = append(at, i)
				continue
			}
		}
		if v >= l.Low && v <= l.High {
			most = max(most, math.Abs(v))
		}
	}
	for _, i := range at {
		if v := s.V[i]; v < l.Low || v > l.High || math.Abs(v) > 3*most {
			s.Flags.Or(i, series.Sentinel)
		}
	}
}

func goodBefore(s *series.Series, i int) int {
	for i--; i >= 0; i-- {
		if s.Flags.At(i) == 0 {
			return i
		}
	}
	return -1
}

func goodAfter(s *series.Series, i int) int {
	for ; i < len(s.V); i++ {
		if s.Flags.At(i) == 0 {
			return i
		}
	}
	return -1
}

// gapBetween tells whether the readings a < b do not follow each other closely.
// Flagged readings between them count as logged.
func gapBetween(s *series.Series, a, b int, opt FlagOptions) bool {
	last := s.T[a]
	for k := a + 1; k <= b; k++ {
		if s.Flags.At(k)&series.Absent != 0 {
			continue
		}
		if float64(s.T[k]-last) > opt.GapIntervals*float64(s.IntervalMS) {
			return true
		}
		last = s.T[k]
	}
	return false
}
