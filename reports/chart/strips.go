package chart

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"yardheat/analysis/season"
)

const (
	stripHeight = 34 // points for a channel's text and strip
	barRow      = 20
	shareFloor  = 0.02 // smaller shares stay out of the picture
	mostBars    = 4    // sources drawn for one figure
)

// channelText names a channel as people read it.
func channelText(c season.Channel) string {
	name := c.Quantity
	if c.Place != "" {
		name += " " + c.Place
	}
	if c.Column != "" {
		name += " (" + c.Column + ")"
	}
	return plain(name, 58)
}

// coverage is a strip of days for each channel.
func coverage(s *season.Season, zone *time.Location) sketch {
	k := sketch{height: float64(stripHeight*len(s.Channels) + 24), Chart: Chart{Name: Coverage, Title: "What the loggers recorded, day by day",
		Head: []string{"Channel", "File", "Readings", "Kept", "Flagged", "Hours missing"}}}
	days := 0
	for _, c := range s.Channels {
		flagged := 0
		for _, n := range c.Flags {
			flagged += n
		}
		k.Rows = append(k.Rows, []string{channelText(c), c.File, Number(float64(c.Samples), 0), Number(float64(c.Kept), 0),
			Number(float64(flagged), 0), Number(c.GapS/3600, 1)})
		days = max(days, len(c.ByDay))
	}
	if days == 0 {
		k.Why = "no channel's days are known"
		return k
	}
	k.Desc = fmt.Sprintf("A strip for each of %d channels over %d days: the fuller a day's bar, the more of the day was recorded; "+
		"gaps are white.", len(s.Channels), days)
	k.draw = func(sh *sheet) { drawStrips(sh, s, zone, days) }
	return k
}

func drawStrips(sh *sheet, s *season.Season, zone *time.Location, days int) {
	left, right := sh.Min.X+2, sh.Max.X-2
	y := sh.Max.Y - 2
	text := sh.style(small, black)
	for _, c := range s.Channels {
		sh.FillText(text, vg.Point{X: left, Y: y - 7}, channelText(c))
		sh.strip(c.ByDay, days, left, right, y-stripHeight+4, y-16)
		y -= stripHeight
	}
	text = sh.style(small, grey)
	sh.FillText(text, vg.Point{X: left, Y: y - 8}, stamp(s.Period.Start, zone, "2 Jan 2006"))
	text.XAlign = draw.XRight
	sh.FillText(text, vg.Point{X: right - 10, Y: y - 8}, stamp(max(s.Period.Start, s.Period.End-1), zone, "2 Jan 2006"))
}

// strip draws days as bars of the share seen, equal neighbours in one.
func (s *sheet) strip(byDay []float64, days int, left, right, low, high vg.Length) {
	at := func(day int) vg.Length { return left + (right-left)*vg.Length(day)/vg.Length(days) }
	for from := 0; from < len(byDay); {
		to, share := from+1, math.Round(20*byDay[from])/20
		for to < len(byDay) && math.Round(20*byDay[to])/20 == share {
			to++
		}
		if share > 0 {
			s.FillPolygon(green, []vg.Point{{X: at(from), Y: low}, {X: at(to), Y: low},
				{X: at(to), Y: low + (high-low)*vg.Length(min(share, 1))}, {X: at(from), Y: low + (high-low)*vg.Length(min(share, 1))}})
		}
		from = to
	}
	s.StrokeLines(draw.LineStyle{Color: grey, Width: 0.7}, []vg.Point{{X: left, Y: low}, {X: right, Y: low},
		{X: right, Y: high}, {X: left, Y: high}, {X: left, Y: low}})
}

// shares are the budget rows of one headline figure, largest first.
type shares struct {
	label string
	rows  []season.BudgetRow
}

// uncertainty is whose error makes how much of each headline figure's spread.
func uncertainty(s *season.Season) sketch {
	k := sketch{Chart: Chart{Name: Uncertainty, Title: "Whose error makes the intervals wide",
		Head: []string{"Figure", "Source of error", "Share of the variance", "Kind", "Its own error, 95 %"}}}
	var drawn []shares
	rows := 0
	for _, h := range s.Headline {
		sh := shares{label: h.Label}
		for _, b := range s.Budget {
			if b.Figure != h.Key || math.IsNaN(b.Share) {
				continue
			}
			k.Rows = append(k.Rows, []string{h.Label, b.Source, Percent(b.Share), b.Kind, ownError(b)})
			if b.Share >= shareFloor {
				sh.rows = append(sh.rows, b)
			}
		}
		if sh.rows = largest(sh.rows); len(sh.rows) > 0 {
			drawn = append(drawn, sh)
			rows += len(sh.rows) + 1
		}
	}
	if len(drawn) == 0 {
		k.Why = "no headline figure has an uncertainty budget"
		return k
	}
	k.height = float64(rows*barRow + 30)
	k.Desc = "For each headline figure, bars for the sources that make the largest shares of its variance, in percent. " +
		"Filled bars are one error for the whole season, striped bars vary from day to day."
	k.draw = func(sh *sheet) { drawShares(sh, drawn) }
	return k
}

func largest(rows []season.BudgetRow) []season.BudgetRow {
	slices.SortStableFunc(rows, func(a, b season.BudgetRow) int { return cmp.Compare(b.Share, a.Share) })
	return rows[:min(len(rows), mostBars)]
}

func ownError(b season.BudgetRow) string {
	if b.Assumed && b.Error != "" {
		return b.Error + " (assumed)"
	}
	return b.Error
}

func drawShares(sh *sheet, drawn []shares) {
	shared, random := look{colour: green, bar: true}, look{colour: blue, bar: true, fill: striped}
	y := sh.Max.Y - sh.key([]entry{{shared, "one error all season"}, {random, "varies by day"}}) - 4
	name, heading := sh.style(small, black), sh.style(textSize, black)
	number := sh.style(small, black)
	const middle, top = 0.52, 0.37 // where bars begin, and the length of 100 %
	for _, f := range drawn {
		sh.FillText(heading, vg.Point{X: sh.Min.X + 2, Y: y - barRow/2 - 2}, plain(f.label, 60))
		y -= barRow
		for _, b := range f.rows {
			l := shared
			if b.Kind == "random" {
				l = random
			}
			x0 := sh.Min.X + width*middle
			x1 := x0 + vg.Length(width*top*min(b.Share, 1))
			sh.FillText(name, vg.Point{X: sh.Min.X + 14, Y: y - barRow/2}, fitted(name, b.Source, width*middle-20))
			sh.box(x0, y-barRow+4, x1, y-4, l.fill, l.colour)
			sh.FillText(number, vg.Point{X: x1 + 5, Y: y - barRow/2}, Percent(b.Share))
			y -= barRow
		}
	}
}

// fitted is the text cut to what stands in a width, in a wider type too.
func fitted(style draw.TextStyle, text string, room vg.Length) string {
	for most := 60; most > 8; most-- {
		if cut := plain(text, most); style.Width(cut)*widerType <= room {
			return cut
		}
	}
	return plain(text, 8)
}
