package solve

import (
	"context"

	"yardheat/ingest/work"
)

// Each calls f for 0 … n−1 from as many goroutines as there are cores, and
// returns when all are done. f(i) writes only what is its own: the result is the
// same on any number of cores.
func Each(n int, f func(i int)) { work.Each(0, n, f) }

// EachUntil is Each that leaves by work.Check once ctx has ended (nil = it
// never does).
func EachUntil(ctx context.Context, n int, f func(i int)) {
	Each(n, func(i int) {
		work.Check(ctx)
		f(i)
	})
}
