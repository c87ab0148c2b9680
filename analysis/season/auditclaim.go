package season

import (
	"fmt"
	"strings"

	"yardheat/analysis/grid"
)

// Claim says in words what kind of statement the saving is.
type Claim struct {
	// Type: what is compared with what; Option: what is measured and what is
	// stipulated; both "" where no saving is given, and Why then says why.
	Type, Option, Why string
	// Stipulated are the figures in the saving that nobody metered.
	Stipulated []string
	// Baseline, Adjustments, AgreedBy: of the alternative.
	Baseline, Adjustments string
	// The criterion of ASHRAE Guideline 14: U68 is the larger side of the
	// saving's 68 % interval, Share that over the saving; met where below Limit. A
	// comparison of two numbers and no more. NaN: not known.
	U68, Share, Limit float64
	Criterion         string // "met", "not met", "cannot tell"
}

func (b *builder) claim() {
	c, s, in := &b.s.Audit.Claim, b.kept.s, b.rec.Farm.Instead
	if b.byHeld() {
		b.heldClaim(c)
		return
	}
	if s.why != "" {
		c.Why = s.why
		return
	}
	carrier := in.Carrier
	if carrier == "" {
		carrier = "the alternative"
	}
	c.Type = "Avoided energy: what was used is held against what the alternative would have used for the same hot water in the same weeks. It is not normalised: it does not say what another season would save."
	c.Stipulated = b.stipulated()
	c.Option = "Retrofit isolation, in the manner of option A of the IPMVP (from memory): the heat delivered and the electricity are measured, and what is stipulated is " +
		strings.Join(c.Stipulated, ", ") + ". Were these measured too, it would be in the manner of option B. The report does not claim to follow any protocol."
	c.Baseline = fmt.Sprintf("The alternative heater, stated in farm.toml: %s with an efficiency of %s; standing loss %s kWh a day. It is a stated figure and not a period before the recovery: no baseline period was measured for it.",
		carrier, number(in.Efficiency), number(in.StandingLossKWhPerDay))
	c.Adjustments = fmt.Sprintf("Routine: the baseline follows the heat delivered, cycle by cycle: (wash heat + other use, each no warmer than wash.heat_to_c) / %s + %s kWh a day. It has no fitted coefficient, and so no CV(RMSE), NMBE or lag-one correlation. It holds for any amount of hot water that the alternative could have heated.",
		number(in.Efficiency), number(in.StandingLossKWhPerDay))
}

// stipulated lists the figures in the saving that nobody metered.
func (b *builder) stipulated() []string {
	var out []string
	if !b.byHeld() {
		out = append(out, "instead.efficiency")
		if b.rec.Farm.Instead.StandingLossKWhPerDay != 0 {
			out = append(out, "instead.standing_loss_kwh_per_day")
		}
	}
	for _, key := range []string{"element.power_kw", "pumps.loop_kw", "pumps.plate_kw", "loop.draw_l"} {
		if b.inSaving(key) {
			out = append(out, key)
		}
	}
	return out
}

// inSaving: the figure stands for a meter in wash, other use, element or pumps.
func (b *builder) inSaving(key string) bool {
	a := b.acc
	for _, list := range [][]grid.Source{a.Wash.Flow, a.OtherUse.Flow, a.Element.Sources, a.Pumps.Sources} {
		for _, s := range list {
			if s.Key == key {
				return true
			}
		}
	}
	return false
}

// Stage is a box of the boundary drawing, with the numbers of its meters.
type Stage struct {
	// Key: "feed", "loop", "plate", "tank", "element", "wash", "other", "bed", "milk", "pumps".
	Key, Label string
	// Inside the boundary.
	Inside bool
	Meters []int
}

// drawing lists the stages that the farm has, from feed to wash.
func (b *builder) drawing() {
	a, f := b.acc, b.rec.Farm
	tank := len(f.Tanks) > 0 || a.Store.Why == ""
	for _, s := range []struct {
		key, label     string
		inside, exists bool
	}{
		{"feed", "Cold feed", false, true},
		{"bed", "Bed of the yard", false, !a.Loop.Absent},
		{"loop", "Loop under the yard", true, !a.Loop.Absent},
		{"milk", "Milk cooling", false, !a.Plate.Absent || !a.Compressor.Absent},
		{"plate", "Plate cooler", true, !a.Plate.Absent},
		{"tank", "Tank", true, tank},
		{"element", "Element", true, !a.Element.Absent},
		{"pumps", "Pumps", true, !a.Pumps.Absent},
		{"wash", "Wash", false, !a.Wash.Absent},
		{"other", "Other hot taps", false, !a.OtherUse.Absent},
	} {
		st := Stage{Key: s.key, Label: s.label, Inside: s.inside}
		for _, m := range b.s.Audit.Meters {
			if m.At == s.key {
				st.Meters = append(st.Meters, m.N)
			}
		}
		if s.exists || len(st.Meters) > 0 {
			b.s.Audit.Drawing = append(b.s.Audit.Drawing, st)
		}
	}
}

// outside lists what the boundary leaves out, and what acts across it.
func (b *builder) outside() {
	a, acc := &b.s.Audit, b.acc
	alternative := "the alternative heater itself: it is stated, not measured"
	if b.byHeld() {
		alternative = "the alternative of [instead]: it is not in this saving"
	}
	a.Outside = append(a.Outside, alternative,
		"pipes between the stages: what they lose is inside “unexplained”", "controls, loggers and lights: their electricity is not logged")
	if !acc.Loop.Absent {
		a.Outside = append(a.Outside, "the bed: work, straw and the tractor that keep it warm, and the manure's further use")
		a.InteractiveEffects = append(a.InteractiveEffects, "Heat taken from the bed cools it: shown under the loop (approach, bed offset, changes), not priced.")
	}
	if !acc.Plate.Absent {
		a.Outside = append(a.Outside, "the milk cooling: compressor, fans and agitators serve the milk in any case")
		a.InteractiveEffects = append(a.InteractiveEffects,
			"Compressor: recovery may ease its work, or raise it where the condensing pressure is kept up for hotter water. "+b.compressorWords(),
			"Milk: recovery must not keep it from cooling in time; see “Was the milk cold in time?”.")
	}
	if len(b.rec.Farm.Tanks) > 0 {
		a.InteractiveEffects = append(a.InteractiveEffects, "Tank: warmer water stands longer and loses more. The loss is inside the balance; the saving counts heat drawn off and so bears it.")
	}
}

// static are the facts of the farm that the figures stand on and that a change
// would make another farm of.
func (b *builder) static() {
	f, out := b.rec.Farm, &b.s.Audit.Static
	add := func(name string, v float64, unit string) {
		if v > 0 {
			*out = append(*out, Fact{name, strings.TrimSpace(number(v) + " " + unit), "farm.toml"})
		}
	}
	if l := f.Loop; l != nil {
		add("loop.length_m", l.LengthM, "m")
		add("loop.bore_mm", l.BoreMM, "mm")
		add("loop.wall_mm", l.WallMM, "mm")
		add("loop.bed_area_m2", l.BedAreaM2, "m²")
		add("loop.lead_l", l.LeadL, "L")
	}
	for _, t := range f.Tanks {
		add(strings.TrimSpace("tank.volume_l "+t.Name), t.VolumeL, "L")
	}
	if w := f.Wash; w != nil {
		if w.HasTarget {
			add("wash.target_c", w.TargetC, "°C")
		}
		if w.HasHeatTo {
			add("wash.heat_to_c", w.HeatToC, "°C")
		}
	}
	if f.Element != nil {
		add("element.power_kw", f.Element.PowerKW, "kW")
	}
	if p := f.Plant; p != nil && p.Refrigerant != "" {
		*out = append(*out, Fact{"plant.refrigerant", p.Refrigerant, "farm.toml"})
	}
	*out = append(*out, Fact{"milkings from", b.acc.MilkingsFrom, "logs"})
}

// EventAudit is one of the farm's events with what the record shows beside it.
type EventAudit struct {
	Event
	Tonnes float64 // 0 = not stated
	// KWh is why no effect in kWh is given; Beside are the changes found near it.
	KWh, Beside string
}

// auditEvents lays the farm's events beside the changes that were found.
func (b *builder) auditEvents() {
	for _, e := range b.s.Events {
		x := EventAudit{Event: e, KWh: "effect not computed", Beside: "no change of loop or plant was found near it"}
		for _, f := range b.rec.Farm.Events {
			if f.At.UnixMilli() == e.At && f.What == e.What {
				x.Tonnes = f.Tonnes
			}
		}
		var beside []string
		for _, list := range [][]Change{b.s.Loop.Changes, b.s.Plant.Changes} {
			for _, c := range list {
				for _, near := range c.Events {
					if near == e {
						beside = append(beside, fmt.Sprintf("%s: %s", c.Label, c.Size.Shown))
					}
				}
			}
		}
		if beside != nil {
			x.Beside = strings.Join(beside, "; ")
		}
		b.s.Audit.Events = append(b.s.Audit.Events, x)
	}
}
