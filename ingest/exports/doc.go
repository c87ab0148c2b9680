// Package exports makes up the exports of loggers: one small invented truth
// written in many layouts, each with the reading that a person gives it. Tests
// hold the readers against it; nothing in it stands for a maker's format. A
// leaf: it imports nothing of ours, so that an error of the readers can't hide
// here.
//
// Flow: Truth (seeded) → Layout.Write (bytes of a file) beside Layout.Reading
// (what a right reading gives) and Layout.Farm (the [[log]] that maps its
// columns). Layout.As writes the same readings in °F, m³/h, another zone or
// with the other decimal mark.
//
// Conventions: a value is a whole number of its last decimal place, so that it
// is written, converted and read back without a rounding; times are UTC.
package exports

import (
	"math/rand/v2"
	"time"
)

// Seed is the one from which the truth is drawn.
const Seed = 20260117

// None stands in Channel.V for a missing reading.
const None = -1 << 62

// Channel is one column of readings.
type Channel struct {
	Name, Quantity, Unit string
	// Places are the decimals with which it is written; V the readings in units
	// of the last of them, None where there is none.
	Places         int
	Counter, State bool
	V              []int64
}

// Truth is what was logged.
type Truth struct {
	At       []time.Time
	Channels []Channel
}

// The spans that layouts are written for. Dates of the first prove which
// number is the day, those of the second only by running on from one date to
// the next; the third holds the hour that Europe/Rome has twice.
const (
	Winter = iota
	EarlyMarch
	Autumn
)

// FarmZone is where the farm stands.
const FarmZone = "Europe/Rome"

const rows, step = 300, 10 * time.Minute

// NewTruth draws the readings of a span.
func NewTruth(span int) *Truth {
	r := rand.New(rand.NewPCG(Seed, uint64(span)))
	from := [...]time.Time{
		time.Date(2026, 1, 16, 23, 0, 0, 0, time.UTC),
		time.Date(2026, 3, 2, 23, 0, 0, 0, time.UTC),
		time.Date(2026, 10, 23, 22, 0, 0, 0, time.UTC),
	}[span]
	t := &Truth{Channels: []Channel{
		{Name: "Loop out", Quantity: "loop_out_temp", Unit: "°C", Places: 1},
		{Name: "Bed", Quantity: "bed_temp", Unit: "°C", Places: 2},
		{Name: "Outdoor", Quantity: "outdoor_temp", Unit: "°C", Places: 1},
		{Name: "Flow", Quantity: "loop_flow", Unit: "L/h", Places: 1},
		{Name: "Compressor", Quantity: "compressor_energy", Unit: "kWh", Places: 2, Counter: true},
		{Name: "Pump", Quantity: "loop_pump", State: true},
	}}
	counter := int64(1234567)
	for i := range rows {
		t.At = append(t.At, from.Add(time.Duration(i)*step))
		run, pump := int64(0), int64(0)
		if i%48 >= 10 && i%48 < 22 {
			run, pump = 1, 1
		}
		counter += 7 + r.Int64N(30)
		outdoor := -84 + int64(i%144) + r.Int64N(9)
		for k, v := range [...]int64{
			180 + 120*run + r.Int64N(19),
			4825 + r.Int64N(40),
			outdoor,
			run * (8124 + r.Int64N(5000)),
			counter,
			pump,
		} {
			if (i+7*k)%61 == 30 && k < 4 {
				v = None
			}
			t.Channels[k].V = append(t.Channels[k].V, v)
		}
	}
	return t
}
