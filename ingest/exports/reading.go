package exports

import (
	"math"
	"slices"
	"time"
)

// Reading is what a right reading of a layout gives.
type Reading struct {
	Encoding, Separator, Decimal string
	Tables                       int
	// Rows with a stamp, all tables together.
	Rows        int
	First, Last time.Time
	Interval    time.Duration
	Columns     []Column
}

// Column is one channel as read, in the order of time.
type Column struct {
	// Header as the farm file names it; Unit as written in header or unit row.
	Header, Unit, Quantity string
	Counter, State         bool
	At                     []time.Time
	// V in the unit as written; NaN = missing.
	V        []float64
	Missing  int
	Min, Max float64
}

// Reading gives the right reading of the rows written.
func (l Layout) Reading(of []int) Reading {
	l.init()
	of = slices.Clone(of)
	slices.Sort(of)
	of = slices.Compact(of)
	r := Reading{Encoding: l.Encoding, Separator: l.Sep, Decimal: l.Decimal, Tables: 1, Interval: step * time.Duration(max(1, l.Every))}
	if r.Encoding == "" {
		r.Encoding = "UTF-8"
	}
	if r.Decimal == "" {
		r.Decimal = "."
	}
	if l.Sep == Fixed {
		r.Separator = Blanks
	}
	if l.Shape == Apart {
		r.Tables = len(l.Channels)
	}
	r.apply(l.Want)
	for n, k := range l.Channels {
		r.Columns = append(r.Columns, l.column(n, k, of))
	}
	r.span(of, &l)
	return r
}

// apply puts in what the layout states by hand.
func (r *Reading) apply(w Want) {
	if w.Separator != "" {
		r.Separator = w.Separator
	}
	if w.Encoding != "" {
		r.Encoding = w.Encoding
	}
	switch w.Decimal {
	case "":
	case "none":
		r.Decimal = ""
	default:
		r.Decimal = w.Decimal
	}
}

// column is the n-th channel written, the k-th of the truth.
func (l *Layout) column(n, k int, of []int) Column {
	c := &l.truth.Channels[k]
	out := Column{Header: l.key(n, k), Unit: c.Unit, Quantity: c.Quantity, Counter: c.Counter, State: c.State, Min: math.Inf(1), Max: math.Inf(-1)}
	if l.Shape == Apart || l.Shape == Long || l.Shape == Events {
		out.Header = l.header(k)
	}
	if l.UnitsIn == "" || l.UnitsIn == "cells" {
		out.Unit = ""
	}
	for _, i := range of {
		if l.Shape == Events && i > 0 && c.V[i] == c.V[i-1] {
			continue
		}
		v := valueOf(c.V[i], c.Places)
		at := l.truth.At[i]
		if l.Shape == Staggered {
			at = at.Add(stagger(n))
		}
		out.At, out.V = append(out.At, at), append(out.V, v)
		if math.IsNaN(v) {
			out.Missing++
			continue
		}
		out.Min, out.Max = min(out.Min, v), max(out.Max, v)
	}
	return out
}

// span sets rows, first and last.
func (r *Reading) span(of []int, l *Layout) {
	if len(of) == 0 {
		return
	}
	switch l.Shape {
	case Wide:
		r.Rows = len(of)
	default:
		for _, c := range r.Columns {
			r.Rows += len(c.At)
		}
	}
	for i, c := range r.Columns {
		if len(c.At) == 0 {
			continue
		}
		if first := c.At[0]; i == 0 || first.Before(r.First) {
			r.First = first
		}
		if last := c.At[len(c.At)-1]; last.After(r.Last) {
			r.Last = last
		}
	}
}
