package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"yardheat/analysis/doubt"
	"yardheat/analysis/season"
	"yardheat/analysis/size"
	"yardheat/ingest"
)

// sizeFlags are the options of `yardheat size`; 0 = as it is.
type sizeFlags struct {
	length, bore, wall      float64
	branches                int
	draw, draws, flow, tank float64
	json                    bool
}

func (a *app) sizeCommand() *cobra.Command {
	var f sizeFlags
	cmd := &cobra.Command{
		Use:   "size DIR [--length M] [--draw L] …",
		Short: "Estimate what another loop, draw, number of milkings or tank would give",
		Long: `Takes the coefficients that were fitted to the farm folder DIR and estimates what
another design would give, with an interval: an estimate, never a measurement. What
is not stated stays as it is. Pressure drop, extraction per area of bed, tank loss
and what has to be thought of before anything is built stand beside it.`,
		Example: `  yardheat size my-farm --length 600
  yardheat size my-farm --draws 3
  yardheat size my-farm --length 500 --bore 32.6 --wall 3.7 --draw 400 --tank 800`,
		Args: exactly(1, "one farm folder"),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.size(args[0], f)
		},
	}
	cmd.Flags().Float64Var(&f.length, "length", 0, "pipe in the bed, all branches together, m")
	cmd.Flags().Float64Var(&f.bore, "bore", 0, "inside diameter, mm")
	cmd.Flags().Float64Var(&f.wall, "wall", 0, "wall, mm")
	cmd.Flags().IntVar(&f.branches, "branches", 0, "branches side by side")
	cmd.Flags().Float64Var(&f.draw, "draw", 0, "water of one draw through the loop, L")
	cmd.Flags().Float64Var(&f.draws, "draws", 0, "draws a day, such as 3 for a third milking")
	cmd.Flags().Float64Var(&f.flow, "flow", 0, "flow while it draws, L/min")
	cmd.Flags().Float64Var(&f.tank, "tank", 0, "volume of the tank, L")
	cmd.Flags().BoolVar(&f.json, "json", false, "print the result as JSON to stdout and nothing else")
	return cmd
}

// size fits the farm and prints the estimate.
func (a *app) size(dir string, f sizeFlags) error {
	for name, x := range map[string]float64{"length": f.length, "bore": f.bore, "wall": f.wall, "branches": float64(f.branches), "draw": f.draw, "draws": f.draws, "flow": f.flow, "tank": f.tank} {
		if x < 0 || math.IsNaN(x) || math.IsInf(x, 0) {
			return usageError{fmt.Errorf("--%s: want a number above 0", name)}
		}
	}
	s, rec, err := a.computeRecord(dir, "", "", season.DefaultOptions())
	if err != nil {
		return err
	}
	known := size.Of(s, rec.Farm)
	d := f.design(known.Now)
	e, err := size.Compute(known, d, size.DefaultOptions())
	switch {
	case errors.Is(err, size.ErrSame), errors.Is(err, size.ErrTooFast), errors.Is(err, size.ErrGeometry) && rec.Farm.Loop != nil:
		return usageError{err}
	case err != nil:
		return &ingest.InputError{Faults: []ingest.Fault{{File: dir, Got: err.Error(), Want: "a loop whose coefficient and heat the logs tell",
			Do: "see yardheat report " + shellWord(dir) + ": what it says under the loop is missing"}}}
	}
	if f.json {
		return a.printSizeJSON(e)
	}
	a.printSize(s, e)
	return nil
}

func (f sizeFlags) design(now size.Design) size.Design {
	set := func(to *float64, x float64) {
		if x > 0 {
			*to = x
		}
	}
	d := now
	set(&d.LengthM, f.length)
	set(&d.BoreMM, f.bore)
	set(&d.WallMM, f.wall)
	set(&d.DrawL, f.draw)
	set(&d.DrawsPerDay, f.draws)
	set(&d.FlowLMin, f.flow)
	set(&d.TankL, f.tank)
	if f.branches > 0 {
		d.Branches = f.branches
	}
	return d
}

// sizeRemarks are the sentences of size's remarks.
var sizeRemarks = map[string]string{
	size.RemarkBound:     "The coefficient is known from below only, so the estimate spans all that it may be. A draw of one and a half loops would narrow it.",
	size.RemarkStore:     "The bed has a slab between it and the pipe. What a longer pipe would find there is not in the record: read the estimate as for the same slab per metre.",
	size.RemarkMisfit:    "In a steady rhythm of equal draws the model is off today's metered heat by more than a tenth; the interval counts that in, but read it with caution.",
	size.RemarkNoSpacing: "farm.toml gives no loop.bed_area_m2: the bedding's share is kept per metre, as if the bed grew with the pipe.",
	size.RemarkUnseen:    "It asks a quarter more heat of the bed than was seen. A bed that is drawn on harder cools, and may not come back in winter.",
	size.RemarkFlux:      "The heat taken would pass half of what bedding is thought to make by degrading (own arithmetic from published figures): a bed may not keep that up.",
	size.RemarkPressure:  "The pressure drop passes 1 bar, bends and fittings not counted: mains or pump must have that to spare.",
	size.RemarkLaminar:   "The flow would be laminar, and the film of water then holds back much of the heat. More branches make it slower still.",
	size.RemarkShort:     "A draw would be more than two loops: its last water passes without soaking.",
	size.RemarkPlate:     "Warmer water enters the plate, which then catches less of the milk's heat. How much less is not in the estimate.",
	size.RemarkElement:   "The estimate adds more heat than the element puts in today; what is over saves nothing.",
	size.RemarkTankLoss:  "The tank's loss is not known, so the bigger tank's cannot be given.",
	size.RemarkDrawTank:  "A draw is more than the tank holds.",
	size.RemarkWarmStore: "More water would stand between 20 and 45 °C, where legionella can multiply.",
}

// sizeCautions stand below every estimate.
var sizeCautions = []string{
	"Water that stands in exposed pipe can freeze; antifreeze changes the heat calculation and what the circuit may be joined to.",
	"More lukewarm water in store is a question for whoever holds the water risk assessment, before it is sprayed or misted.",
	"Connections to the drinking-water main need protection against backflow; refrigerant circuits, pressure vessels and electric elements are for licensed people. Local codes hold.",
	"Digging in a bed: slurry and disturbed wet bedding can give off gas that kills. Stock out, a second adult outside.",
}

func (a *app) printSize(s *season.Season, e *size.Estimate) {
	fmt.Fprintf(a.stdout, "An estimate for %s, from the coefficients of its season. Not a measurement.\n\n", s.Farm)
	row := func(label, now, then string) { fmt.Fprintf(a.stdout, "  %-33s %-32s %s\n", label, now, then) }
	row("", "now", "with the change")
	number := func(x float64, unit string, digits int) string {
		if math.IsNaN(x) {
			return doubt.NotKnown
		}
		return strings.TrimSpace(fmt.Sprintf("%.*f %s", digits, x, unit))
	}
	row("Pipe in the bed", describe(e.Now), describe(e.New))
	row("Draws", drawWords(e.Now), drawWords(e.New))
	row("A draw, in loops", number(e.LoopVolumes, "", 2), number(e.NewLoopVolumes, "", 2))
	row("Loop: heat-transfer coefficient", "as reported", e.NewUA.Shown)
	row("Water leaves the bed at", e.OutC.Shown, e.NewOutC.Shown)
	row("Heat from the yard, a day", e.Heat.Shown, e.NewHeat.Shown)
	row("  more (less) than now", "", e.More.Shown)
	if e.ElementLessKWhPerDay.Shown != "" {
		row("Element spared, a day, at most", "", e.ElementLessKWhPerDay.Shown)
	}
	row("Pressure drop of one branch", number(e.DropBar, "bar", 2), number(e.NewDropBar, "bar", 2))
	row("Taken from each m² of bed", number(e.FluxWPerM2, "W/m²", 1), number(e.NewFluxWPerM2, "W/m²", 1))
	if e.New.TankL != e.Now.TankL {
		row("Tank's standing loss, a day", number(e.LossKWhPerDay, "kWh", 1), number(e.NewLossKWhPerDay, "kWh", 1))
	}
	fmt.Fprintln(a.stdout)
	for _, code := range e.Remarks {
		wrapped(a.stdout, "  ! ", sizeRemarks[code])
	}
	for _, text := range sizeCautions {
		wrapped(a.stdout, "  - ", text)
	}
}

func describe(d size.Design) string {
	text := fmt.Sprintf("%.0f m, bore %g mm", d.LengthM, d.BoreMM)
	if d.Branches > 1 {
		text += fmt.Sprintf(", %d branches", d.Branches)
	}
	return text
}

func drawWords(d size.Design) string {
	return fmt.Sprintf("%.2g a day of %.0f L, %.1f L/min", d.DrawsPerDay, d.DrawL, d.FlowLMin)
}

// sizeJSON is the result as JSON; figures as in results.json.
type sizeJSON struct {
	Estimate bool           `json:"estimate"`
	Now      map[string]any `json:"now"`
	New      map[string]any `json:"new"`
	Heat     any            `json:"loop_kwh_per_day"`
	NewHeat  any            `json:"new_loop_kwh_per_day"`
	More     any            `json:"more_kwh_per_day"`
	OutC     any            `json:"out_c"`
	NewOutC  any            `json:"new_out_c"`
	NewUA    any            `json:"new_ua_w_per_k"`
	Spared   any            `json:"element_spared_kwh_per_day"`
	Remarks  []string       `json:"remarks"`
	Cautions []string       `json:"cautions"`
}

func (a *app) printSizeJSON(e *size.Estimate) error {
	side := func(d size.Design, loops, drop, flux, loss float64) map[string]any {
		return map[string]any{"length_m": d.LengthM, "bore_mm": d.BoreMM, "wall_mm": d.WallMM, "branches": d.Branches, "draw_l": d.DrawL, "draws_per_day": d.DrawsPerDay,
			"flow_l_min": d.FlowLMin, "tank_l": d.TankL, "loop_volumes": orNull(loops), "pressure_drop_bar": orNull(drop), "heat_w_per_m2": orNull(flux), "tank_loss_kwh_per_day": orNull(loss)}
	}
	out := sizeJSON{Estimate: true, Now: side(e.Now, e.LoopVolumes, e.DropBar, e.FluxWPerM2, e.LossKWhPerDay),
		New:  side(e.New, e.NewLoopVolumes, e.NewDropBar, e.NewFluxWPerM2, e.NewLossKWhPerDay),
		Heat: figureJSON(e.Heat), NewHeat: figureJSON(e.NewHeat), More: figureJSON(e.More), OutC: figureJSON(e.OutC), NewOutC: figureJSON(e.NewOutC),
		NewUA: figureJSON(e.NewUA), Spared: figureJSON(e.ElementLessKWhPerDay), Remarks: append([]string{}, e.Remarks...), Cautions: sizeCautions}
	enc := json.NewEncoder(a.stdout)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(out)
}

// orNull makes what is not known null.
func orNull(x float64) any {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return x
}

func figureJSON(f doubt.Figure) any {
	if f.Unit == "" {
		return nil
	}
	return map[string]any{"value": orNull(f.Value), "low": orNull(f.Low), "high": orNull(f.High), "unit": f.Unit, "confidence": f.Confidence, "basis": f.Basis, "shown": f.Shown}
}
