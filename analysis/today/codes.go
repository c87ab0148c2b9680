package today

// Code is what a line is about.
type Code string

// The lines, in the order in which those of one state stand.
const (
	CodeLogs     Code = "logs"
	CodeMilk     Code = "milk"
	CodeWashes   Code = "washes"
	CodePlate    Code = "plate"
	CodeLoop     Code = "loop"
	CodeTank     Code = "tank"
	CodeHeat     Code = "heat"
	CodeBed      Code = "bed"
	CodeCautions Code = "cautions"
	CodeNext     Code = "next"
)

// Finding is what a line says: the key of its sentence.
type Finding string

// The findings, by line.
const (
	// LogsEnd: the logs end long before now. LogsSilent: loggers or probes fell
	// silent or look faulty. LogsAhead: a log has stamps later than now, which are
	// not used. LogsRun: all of them read until the end.
	LogsEnd    Finding = "logs-end"
	LogsSilent Finding = "logs-silent"
	LogsAhead  Finding = "logs-ahead"
	LogsRun    Finding = "logs-run"

	// MilkWarm: above the limit two hours after a milking. MilkCold: at or below
	// it, as far as known. MilkNotKnown: no temperature for that time.
	MilkWarm     Finding = "milk-warm"
	MilkCold     Finding = "milk-cold"
	MilkNotKnown Finding = "milk-not-known"

	// WashesCool: some below the target. WashesHot: none of those known.
	// WashesNone: none seen although there usually are. WashesNoTarget: the farm
	// file states none. WashesNotKnown: no temperature. WashesNotSeen: nothing
	// that tells of washes is covered.
	WashesCool     Finding = "washes-cool"
	WashesHot      Finding = "washes-hot"
	WashesNone     Finding = "washes-none"
	WashesNoTarget Finding = "washes-no-target"
	WashesNotKnown Finding = "washes-not-known"
	WashesNotSeen  Finding = "washes-not-seen"

	// Loop, plate, bed and tank against their usual range; …Few: too few values to
	// say; …NotKnown: no value in the stretch.
	LoopLow      Finding = "loop-low"
	LoopHigh     Finding = "loop-high"
	LoopUsual    Finding = "loop-usual"
	LoopFew      Finding = "loop-few"
	LoopNotKnown Finding = "loop-not-known"

	// PlateNoWater: the compressor worked and no water took its heat.
	PlateNoWater  Finding = "plate-no-water"
	PlateLow      Finding = "plate-low"
	PlateHigh     Finding = "plate-high"
	PlateUsual    Finding = "plate-usual"
	PlateFew      Finding = "plate-few"
	PlateNotKnown Finding = "plate-not-known"

	// HeatOff: less from yard or milk, or more from the socket, than usual.
	HeatOff      Finding = "heat-off"
	HeatUsual    Finding = "heat-usual"
	HeatFew      Finding = "heat-few"
	HeatNotKnown Finding = "heat-not-known"

	BedLow      Finding = "bed-low"
	BedHigh     Finding = "bed-high"
	BedUsual    Finding = "bed-usual"
	BedFew      Finding = "bed-few"
	BedNotKnown Finding = "bed-not-known"

	// The tank against the same hour of the days before; only a cooler one asks
	// for a look.
	TankLow      Finding = "tank-low"
	TankUsual    Finding = "tank-usual"
	TankFew      Finding = "tank-few"
	TankNotKnown Finding = "tank-not-known"

	// CautionsRaised in the stretch. CautionsNone: none, which is no clearance.
	CautionsRaised Finding = "cautions-raised"
	CautionsNone   Finding = "cautions-none"

	// What to do next.
	NextExports   Finding = "next-exports"
	NextMilk      Finding = "next-milk"
	NextColdTank  Finding = "next-cold-tank"
	NextShortHeat Finding = "next-short-heat"
	NextWash      Finding = "next-wash"
	NextWashNone  Finding = "next-wash-none"
	NextCautions  Finding = "next-cautions"
	NextLogger    Finding = "next-logger"
	NextClock     Finding = "next-clock"
	NextProbe     Finding = "next-probe"
	NextPump      Finding = "next-pump"
	NextPlate     Finding = "next-plate"
	NextLoop      Finding = "next-loop"
	NextTank      Finding = "next-tank"
	NextHeat      Finding = "next-heat"
	NextBed       Finding = "next-bed"
	NextTarget    Finding = "next-target"
	NextGoOn      Finding = "next-go-on"
)

// next says what to do about the most urgent line.
func (m *maker) next() Line {
	l := Line{Code: CodeNext, Says: NextGoOn, State: InOrder}
	for i := range m.t.Lines {
		of := &m.t.Lines[i]
		if of.State == LookAt || of.Says == WashesNoTarget {
			l.Says, l.State = step(of), of.State
			l.word("about", string(of.Code))
			return l
		}
	}
	return l
}

// step is what to do about a line.
func step(of *Line) Finding {
	switch of.Says {
	case LogsEnd:
		return NextExports
	case LogsAhead:
		return NextClock
	case LogsSilent:
		if of.Probes[0].Column == "" {
			return NextLogger
		}
		return NextProbe
	case MilkWarm:
		return NextMilk
	case WashesNone:
		return NextWashNone
	case WashesNoTarget:
		return NextTarget
	case PlateNoWater:
		return NextPump
	case WashesCool:
		switch of.Word("reason") {
		case "cold tank":
			return NextColdTank
		case "short heat":
			return NextShortHeat
		}
		return NextWash
	}
	return map[Code]Finding{CodePlate: NextPlate, CodeLoop: NextLoop, CodeTank: NextTank, CodeHeat: NextHeat,
		CodeBed: NextBed, CodeCautions: NextCautions}[of.Code]
}
