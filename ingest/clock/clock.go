// Package clock turns the stamps of one log into true UTC: it finds the
// layout and the date order and what proves it, resolves the hours that a
// clock change repeats or skips by row order, and applies a known offset,
// drift and jumps. It knows no files and no quantities.
package clock
