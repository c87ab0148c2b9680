package loop

import (
	"fmt"
	"math"

	"yardheat/analysis/water"
)

// Pipe is the buried pipe as the farm file states it.
type Pipe struct {
	LengthM, BoreMM float64
	// WallMM 0 = not stated.
	WallMM float64
	// Material: "", PE, PEX, PP, copper, steel.
	Material string
	// WallMJPerM3K, where stated, is the wall's heat capacity instead.
	WallMJPerM3K float64
	// LengthSD and BoreSD: relative standard deviations, where stated.
	LengthSD, BoreSD float64
}

// Volumetric heat capacities of pipe walls in MJ/(m3 K) near 30 °C, from
// memory of handbook tables (density times specific heat: PE 0.95 × 2.2, PEX
// 0.94 × 2.3, PP 0.91 × 1.9, copper 8.93 × 0.386, steel 7.85 × 0.47); plastics
// vary by 5 to 10 % between grades.
var wallCapacity = map[string]float64{"PE": 2.10, "PEX": 2.15, "PP": 1.72, "copper": 3.45, "steel": 3.69}

// The wall's share where it is not known: common plastic pipe, 0.20 with a
// half-width of 0.08 at 95 % (method, section 3); where thickness and material
// are stated, 5 % of the share.
const (
	assumedBeta          = 0.20
	assumedBetaHalfWidth = 0.08
	statedBetaHalfWidth  = 0.05
	z95                  = 1.959964
)

func (p Pipe) validate() error {
	for name, v := range map[string]float64{"length_m": p.LengthM, "bore_mm": p.BoreMM} {
		if !(v > 0) || math.IsInf(v, 0) {
			return fmt.Errorf("loop: %s is %g; want more than 0", name, v)
		}
	}
	if !(p.WallMM >= 0) || !(p.WallMJPerM3K >= 0) || !(p.LengthSD >= 0) || !(p.BoreSD >= 0) {
		return fmt.Errorf("loop: wall %g mm, %g MJ/(m3 K), doubts %g and %g; want none below 0", p.WallMM, p.WallMJPerM3K, p.LengthSD, p.BoreSD)
	}
	return nil
}

// VolumeL is the water in the pipe: pi/4 bore² length.
func (p Pipe) VolumeL() float64 {
	return math.Pi / 4 * p.BoreMM * p.BoreMM * p.LengthM / 1000
}

// Beta is the wall's heat capacity over the water's and its standard
// deviation, at waterC; assumed is true where the farm file does not say.
func (p Pipe) Beta(waterC float64) (beta, sd float64, assumed bool) {
	capacity := p.WallMJPerM3K
	if capacity == 0 {
		capacity = wallCapacity[p.Material]
	}
	if p.WallMM == 0 || capacity == 0 {
		return assumedBeta, assumedBetaHalfWidth / z95, true
	}
	// Wall section over water section, times the capacities' ratio.
	outer := p.BoreMM + 2*p.WallMM
	section := (outer*outer - p.BoreMM*p.BoreMM) / (p.BoreMM * p.BoreMM)
	beta = section * capacity / water.HeatCapacityKJPerLK(waterC)
	return beta, beta * statedBetaHalfWidth / z95, false
}

// Built is the loop as built, at one mean temperature of water.
type Built struct {
	// VolumeL of water; ThermalL = VolumeL (1 + Beta), by Run in the litres of
	// the meter (see Input.Meter).
	VolumeL, ThermalL, Beta float64
	BetaAssumed             bool
	// BetaSD is Beta's standard deviation.
	BetaSD float64
	// WallFollows: the share of the wall's heat capacity that acts in flow;
	// ThermalL and CapacityKJPerK count the wall by it.
	WallFollows float64
	// CapacityKJPerK = rho c VolumeL (1 + Beta).
	CapacityKJPerK float64
	// VolumeSD is the relative standard deviation of ThermalL: length, bore
	// and wall together.
	VolumeSD float64
	// MeanC is the temperature at which rho and c were taken.
	MeanC float64
}

// At gives the built loop with water properties at meanC (the mean of inlet
// and bed).
func (p Pipe) At(meanC float64) Built {
	b := Built{VolumeL: p.VolumeL(), MeanC: meanC, WallFollows: 1}
	var sd float64
	b.Beta, sd, b.BetaAssumed = p.Beta(meanC)
	b.BetaSD = sd
	b.ThermalL = b.VolumeL * (1 + b.Beta)
	b.CapacityKJPerK = water.HeatCapacityKJPerLK(meanC) * b.ThermalL
	b.VolumeSD = math.Sqrt(p.LengthSD*p.LengthSD + 4*p.BoreSD*p.BoreSD + sd*sd/((1+b.Beta)*(1+b.Beta)))
	return b
}
