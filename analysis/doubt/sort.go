package doubt

import (
	"math"
	"slices"
)

// few values are sorted by comparing.
const few = 512

// sortFloats sorts ascending, NaN first: by the bytes of the values' bits,
// turned so that their order is that of the numbers (radix sort, the lowest
// byte first). Trials are many and sorted as a whole.
func sortFloats(x []float64) {
	if len(x) < few {
		slices.Sort(x)
		return
	}
	keys, spare := make([]uint64, len(x)), make([]uint64, len(x))
	var count [8][256]int
	for i, v := range x {
		k := keyOf(v)
		keys[i] = k
		for b := range count {
			count[b][byte(k>>(8*b))]++
		}
	}
	for b := range count {
		c := &count[b]
		if c[byte(keys[0]>>(8*b))] == len(x) {
			continue // all alike in this byte
		}
		at := 0
		for i, n := range c {
			c[i], at = at, at+n
		}
		for _, k := range keys {
			d := byte(k >> (8 * b))
			spare[c[d]] = k
			c[d]++
		}
		keys, spare = spare, keys
	}
	for i, k := range keys {
		x[i] = floatOf(k)
	}
}

// keyOf is 0 for NaN; a negative number's bits are turned over, a positive
// one's sign is set.
func keyOf(v float64) uint64 {
	b := math.Float64bits(v)
	switch {
	case v != v:
		return 0
	case b>>63 != 0:
		return ^b
	}
	return b | 1<<63
}

func floatOf(k uint64) float64 {
	switch {
	case k == 0:
		return math.NaN()
	case k>>63 == 0:
		return math.Float64frombits(^k)
	}
	return math.Float64frombits(k &^ (1 << 63))
}
