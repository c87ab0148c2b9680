package account

import (
	"math"

	"yardheat/analysis/grid"
)

// Rung is one step of the ladder of degrees: how warm the water was after it.
type Rung struct {
	// Step: "feed", "loop", "plate", "element", "wash".
	Step string
	// TempC, flow-weighted over what was counted; NaN = not known. An error of
	// the probes in Sources moves it by itself.
	TempC   float64
	Sources []grid.Source
	// N is the number of cycles (or washes) behind it.
	N int
}

// Ladder is the ladder of the cycles [from, to): the feed as drawn, the water
// as it leaves loop and plate, the hot tank when a wash begins (what the
// element left), and the washes that were judged.
func (a *Account) Ladder(from, to int) []Rung {
	loop, plate := rung("loop", &a.Loop, from, to), rung("plate", &a.Plate, from, to)
	feed := Rung{Step: "feed", TempC: math.NaN(), Sources: a.feedSources}
	var sum, litres float64
	for i := from; i < to; i++ {
		f := a.Feed[i]
		if f.TempC != f.TempC {
			continue
		}
		w := 1.0
		if a.Wash.Rows != nil {
			w = a.Wash.Rows[i].Litres
		}
		if w > 0 {
			sum, litres = sum+w*f.TempC, litres+w
			feed.N++
		}
	}
	feed.TempC = ratio(sum, litres)
	element, wash := Rung{Step: "element"}, Rung{Step: "wash", Sources: a.Wash.Hot}
	var tank, tankL, washed, washedL float64
	for _, w := range a.Washes {
		if w.Rinse || w.Unknown || to <= from || w.Start < a.Cycles[from].Start || w.Start >= a.Cycles[to-1].End {
			continue
		}
		washed, washedL = washed+w.Litres*w.TempC, washedL+w.Litres
		wash.N++
		if a.tankTop == nil {
			continue
		}
		if t := meanAbove(a.tankTop.Values, w.A-5, w.A+1, math.Inf(-1)); t == t {
			tank, tankL = tank+w.Litres*t, tankL+w.Litres
			element.N++
		}
	}
	element.TempC, wash.TempC = ratio(tank, tankL), ratio(washed, washedL)
	if a.tankTop != nil {
		element.Sources = a.tankTop.Sources
	}
	return []Rung{feed, loop, plate, element, wash}
}

func rung(step string, h *Heat, from, to int) Rung {
	r := Rung{Step: step, TempC: math.NaN(), Sources: h.Hot}
	if h.Rows == nil {
		return r
	}
	var sum, litres float64
	for _, x := range h.Rows[from:to] {
		if x.CountedL > 0 {
			sum, litres = sum+x.LitreHotC, litres+x.CountedL
			r.N++
		}
	}
	r.TempC = ratio(sum, litres)
	return r
}
