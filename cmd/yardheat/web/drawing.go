package web

import (
	"slices"
	"strings"
)

// drawingView is the drawing of a system with the places of its probes.
type drawingView struct{ Places []drawnPlace }

type drawnPlace struct {
	N         int
	X, Y      int
	Name      string
	Have      bool
	Qualified bool
	// Of are the quantities that are measured there.
	of []string
	// key of its name, where that is not the first quantity's.
	key string
}

// drawnPlaces are those of the probes, in the order in which the water runs.
func drawnPlaces() []drawnPlace {
	return []drawnPlace{
		{X: 30, Y: 236, of: []string{"mains_temp", "loop_in_temp"}},
		{X: 30, Y: 184, of: []string{"loop_flow", "loop_volume"}},
		{X: 118, Y: 68, of: []string{"bed_temp", "slab_temp"}},
		{X: 118, Y: 20, of: []string{"air_temp"}},
		{X: 238, Y: 130, of: []string{"loop_out_temp"}},
		{X: 262, Y: 60, of: []string{"plate_in_temp"}},
		{X: 262, Y: 96, of: []string{"plate_flow", "plate_volume"}},
		{X: 366, Y: 96, of: []string{"plate_out_temp"}},
		{X: 316, Y: 174, of: []string{"gas_in_temp", "gas_out_temp"}, Qualified: true},
		{X: 316, Y: 226, of: []string{"compressor_power", "compressor_energy", "compressor_on"}, key: "drawing.place.compressor", Qualified: true},
		{X: 142, Y: 300, of: []string{"milk_in_temp"}},
		{X: 226, Y: 300, of: []string{"milk_out_temp"}},
		{X: 402, Y: 236, of: []string{"tank_temp"}},
		{X: 402, Y: 312, of: []string{"element_power", "element_energy", "element_on"}, key: "drawing.place.element", Qualified: true},
		{X: 420, Y: 386, of: []string{"wash_temp"}},
		{X: 352, Y: 386, of: []string{"wash_volume", "wash_flow"}},
	}
}

// drawing marks the places that have a column.
func (v *view) drawing(used []string) drawingView {
	out := drawingView{Places: drawnPlaces()}
	for i := range out.Places {
		p := &out.Places[i]
		p.N = i + 1
		p.Name = v.Say("quantity." + p.of[0])
		if p.key != "" {
			p.Name = v.Say(p.key)
		}
		p.Have = slices.ContainsFunc(used, func(u string) bool {
			q, _, _ := strings.Cut(u, "@")
			return slices.Contains(p.of, q)
		})
	}
	return out
}
