package pipe

import "math"

// Range is a low and a high end; both NaN where it is not known.
type Range struct{ Low, High float64 }

// WallWPerMK is the conductivity of a pipe's material, W/(m K): design values of
// EN ISO 10456 (PE-HD 0.50, PE-LD 0.33) and of a pipe's data sheet (0.37 to 0.43,
// DIN 52612); PEX, PP, copper, steel: handbook values from memory. ok is false for
// a name that is not known; "" is taken as PE.
func WallWPerMK(material string) (r Range, ok bool) {
	switch material {
	case "", "PE":
		return Range{0.33, 0.50}, true
	case "PEX":
		return Range{0.35, 0.41}, true
	case "PP":
		return Range{0.20, 0.24}, true
	case "copper":
		return Range{330, 400}, true
	case "steel":
		return Range{45, 60}, true
	}
	return Range{math.NaN(), math.NaN()}, false
}

// LitterWPerMK is the range of conductivities measured for composting materials at
// 80 % of their water-holding capacity: beef manure, litters and soil blends 0.12
// to 0.81, straws and shavings 0.03 to 0.30 W/(m K). Source: Thermal properties of
// compost bulking materials, Bioresource Technology (12 materials; the abstract in
// Iowa State University's repository was read). Bedding with manure lies between
// them; the range taken is that of the first.
func LitterWPerMK() Range { return Range{0.12, 0.81} }

// Loop is what of a buried loop can be measured with a tape.
type Loop struct {
	LengthM  float64 // of all branches together
	BoreMM   float64
	WallMM   float64
	Wall     Range // conductivity of the wall
	Branches int
	// SpacingM from pipe to pipe; 0 = from the bed's area.
	SpacingM  float64
	BedAreaM2 float64
	// FlowLMin of all branches together, and the mean temperature of the water.
	FlowLMin, WaterC float64
}

// Spacing is the distance from pipe to pipe: as given, else area over length.
func (l Loop) Spacing() float64 {
	if l.SpacingM > 0 {
		return l.SpacingM
	}
	if l.BedAreaM2 > 0 && l.LengthM > 0 {
		return l.BedAreaM2 / l.LengthM
	}
	return math.NaN()
}

// OutsideMM is the pipe's outside diameter.
func (l Loop) OutsideMM() float64 { return l.BoreMM + 2*l.WallMM }

// Expected is what geometry and materials make of the loop.
type Expected struct {
	// UAWPerK of the whole loop for bedding between the ends of the litter's range.
	UAWPerK Range
	// FilmMKPerW, WallMKPerW per metre; WallShare of the whole at the litter's best.
	FilmMKPerW, WallMKPerW float64
	RadiusM                float64 // at which the bed is taken as warm as its probe
	Reynolds               float64
	// BareUAWPerK: film and wall alone, a bed that holds its temperature at the
	// pipe's outside. No bedding gives more.
	BareUAWPerK float64
}

// Expect adds the resistances up,
//
//	UA = L/(R_film + R_wall + ln(s/D)/(2 pi lambda)),
//
// with the bed as warm as its probe half a spacing from the pipe's axis.
func (l Loop) Expect(medium Range) Expected {
	perBranch := l.FlowLMin / float64(max(l.Branches, 1))
	e := Expected{FilmMKPerW: FilmMKPerW(perBranch, l.BoreMM, l.WaterC), Reynolds: Reynolds(perBranch, l.BoreMM, l.WaterC), RadiusM: l.Spacing() / 2}
	wallMean := math.Sqrt(l.Wall.Low * l.Wall.High)
	e.WallMKPerW = WallMKPerW(l.BoreMM, l.WallMM, wallMean)
	inside := e.FilmMKPerW + e.WallMKPerW
	e.BareUAWPerK = l.LengthM / inside
	at := func(lambda float64) float64 {
		return l.LengthM / (inside + CylinderMKPerW(l.OutsideMM(), e.RadiusM, lambda))
	}
	e.UAWPerK = Range{at(medium.Low), at(medium.High)}
	return e
}

// MediumWPerMK is the conductivity that the bedding must have for the loop to pass
// uaWPerK: Expect turned round. +Inf where film and wall alone pass less.
func (l Loop) MediumWPerMK(uaWPerK float64) float64 {
	e := l.Expect(LitterWPerMK())
	rest := l.LengthM/uaWPerK - e.FilmMKPerW - e.WallMKPerW
	ratio := 2 * e.RadiusM / (l.OutsideMM() / 1000)
	if math.IsNaN(rest) || !(ratio > 1) {
		return math.NaN()
	}
	if rest <= 0 {
		return math.Inf(1)
	}
	return math.Log(ratio) / (2 * math.Pi * rest)
}
