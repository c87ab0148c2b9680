// Package rank puts many numbers in order: all of them, or just the one at a
// rank. It is a leaf under the analysis: a year at ten seconds has millions of
// values, and comparing them one by one is slow.
package rank

import (
	"math"
	"slices"
)

// Sort sorts ascending, NaN first.
func Sort(x []float64) { new(Sorter).Sort(x) }

// few values are sorted by comparing.
const few = 512

// Sorter sorts one slice after another in the same memory.
type Sorter struct{ keys, spare []uint64 }

// Sort sorts ascending, NaN first: by digits of the values' bits, turned so
// that their order is that of the numbers (radix sort, the lowest digit first).
func (s *Sorter) Sort(x []float64) {
	if len(x) < few {
		slices.Sort(x)
		return
	}
	if cap(s.keys) < len(x) {
		s.keys, s.spare = make([]uint64, len(x)), make([]uint64, len(x))
	}
	keys, spare := s.keys[:len(x)], s.spare[:len(x)]
	var count [places][1 << digitBits]uint32
	for i, v := range x {
		k := keyOf(v)
		keys[i] = k
		for b := range count {
			count[b][digit(k, b)]++
		}
	}
	for b := range count {
		c := &count[b]
		if c[digit(keys[0], b)] == uint32(len(x)) {
			continue // all alike in this digit
		}
		at := uint32(0)
		for i, n := range c {
			c[i], at = at, at+n
		}
		for _, k := range keys {
			d := digit(k, b)
			spare[c[d]] = k
			c[d]++
		}
		keys, spare = spare, keys
	}
	for i, k := range keys {
		x[i] = floatOf(k)
	}
}

// places of digitBits bits make up a key.
const (
	digitBits = 11
	places    = 6
)

func digit(k uint64, b int) uint64 { return k >> (digitBits * b) & (1<<digitBits - 1) }

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

// Nth is the value that would stand at index k were x sorted: x is put in
// another order, and holds no NaN. k must be an index of x.
func Nth(x []float64, k int) float64 {
	for lo, hi := 0, len(x)-1; lo < hi; {
		// Hoare's selection about the median of three.
		pivot := middle(x[lo], x[lo+(hi-lo)/2], x[hi])
		i, j := lo, hi
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return x[k]
		}
	}
	return x[k]
}

func middle(a, b, c float64) float64 { return max(min(a, b), min(max(a, b), c)) }
