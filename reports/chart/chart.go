// Package chart draws the pictures of a Season as SVG, and as PNG on request,
// each with the table of the numbers it shows. It takes every number as it
// stands and computes none.
//
// The drawings are narrow (a phone's width) with text to match, are told apart
// without colour (dash, marker or hatching), and hold nothing that differs from
// run to run. Data that is missing gives a chart without a drawing and the
// reason why.
package chart

import (
	"context"
	"fmt"
	"time"

	"yardheat/analysis/season"
	"yardheat/ingest/work"
)

// Options of the drawings.
type Options struct {
	PNG bool // as PNG too: slow
	// Context ends the drawing, which then leaves by work.Check; nil = it never
	// ends.
	Context context.Context
}

// Chart is one picture with the table beside it.
type Chart struct {
	Name        string // file name without extension: a-z, 0-9, hyphens
	Title, Desc string
	SVG, PNG    []byte // SVG without an XML preamble; nil where Why says so
	Head        []string
	Rows        [][]string // formatted as they are to be shown
	Why         string     // why there is no drawing
}

// The names of the charts; typical draws carry a number behind theirs.
const (
	HeatByMonth = "heat-by-month"
	TypicalDraw = "typical-draw"
	UAOverTime  = "ua-over-time"
	PlateByWeek = "plate-by-week"
	CaughtHeat  = "caught-against-rejected"
	WashTemps   = "washes"
	Coverage    = "coverage"
	Uncertainty = "uncertainty"
)

// sketch is a chart still to be rendered.
type sketch struct {
	Chart
	draw   func(*sheet)
	height float64
}

// All draws every chart of a season, always in the same order.
func All(s *season.Season, opt Options) ([]Chart, error) {
	zone := zoneOf(s)
	sketches := []sketch{heatByMonth(s)}
	sketches = append(sketches, typicalDraws(s, zone)...)
	sketches = append(sketches, uaOverTime(s, zone), plateByWeek(s, zone), caughtHeat(s), washTemps(s, zone), coverage(s, zone), uncertainty(s))
	out := make([]Chart, len(sketches))
	for i, k := range sketches {
		work.Check(opt.Context)
		c, err := k.render(opt)
		if err != nil {
			return nil, fmt.Errorf("chart %s: %w", k.Name, err)
		}
		out[i] = c
	}
	return out, nil
}

// zoneOf is the farm's zone, UTC where the system doesn't know it.
func zoneOf(s *season.Season) *time.Location {
	zone, err := time.LoadLocation(s.ZoneName)
	if err != nil {
		return time.UTC
	}
	return zone
}
