package stream

import (
	"encoding/binary"
	"math/bits"
)

// shape is how a short number is written: a sign or none, how many digits on
// either side of the decimal mark, and what ends it. Most cells of a column are
// written alike, and to hold a cell against a known shape and add up its digits
// takes no branch and waits for nothing that stands before it. A cell is looked
// at as a word of eight bytes, the first lowest.
type shape struct {
	// mask covers the bytes that are no digits, want is what they must be.
	mask, want uint64
	// digits is 0x80 in each byte that must be a digit.
	digits uint64
	// low covers the digits before the mark, the sign shifted out by skip bits;
	// high those behind it, moved over the mark; both are then moved up to end
	// with the word.
	low, high uint64
	skip, up  uint8
	end       byte // what ends the cell
	// divisor is the power of ten of the decimals, below zero for a sign.
	divisor float64
	size    int // bytes, with what ends it
}

// noShape fits no cell.
var noShape = shape{want: 1}

// padding is how many bytes behind a block may be looked at.
const padding = 8

const (
	each  = 0x0101010101010101 // a byte, times this, in all bytes of a word
	zeros = '0' * each
	tops  = 0x80 * each
)

// notDigits has the highest bit set in each byte that is no digit; x are the
// bytes less '0': to those below 10, 0x76 can be added without reaching it.
func notDigits(x uint64) uint64 { return x&^tops + 0x76*each | x }

// lane is one column on its way: how its cells are mostly written, and where
// their values go.
type lane struct {
	shape
	v []float64
}

// fitting reads the cells from i on into a row, as far as they have the shapes
// of their lanes. It gives where the first that has not begins, and how many
// have.
func fitting(text []byte, i int, lanes []lane, row int) (next, n int) {
	for k := range lanes {
		l := &lanes[k]
		w := binary.LittleEndian.Uint64(text[i:])
		if w&l.mask != l.want || notDigits(w^zeros)&l.digits != 0 {
			return i, k
		}
		l.v[row] = l.value(w)
		i += l.size
	}
	return i, len(lanes)
}

// value is the number at the start of a word that has the shape.
func (s *shape) value(w uint64) float64 {
	x := (w ^ zeros) >> (s.skip & 63)
	return float64(int64(added((x&s.low|x>>8&s.high)<<(s.up&63)))) / s.divisor
}

// added adds up eight digits, the first lowest, in pairs, fours and eights.
func added(d uint64) uint64 {
	d = d * (10<<8 + 1) >> 8 & 0x00ff00ff00ff00ff
	d = d * (100<<16 + 1) >> 16 & 0x0000ffff0000ffff
	return d * (10000<<32 + 1) >> 32
}

// shapeAt reads a short number, and how it is written; size 0 where it is none
// that ends, line break and all, within eight bytes. Every digit counts, fewer
// than eight of them, and the power of ten is exact, so that one division is
// correctly rounded; see number.
func shapeAt(text []byte, decimal byte) (float64, shape) {
	w := binary.LittleEndian.Uint64(text)
	s := shape{divisor: 1}
	at := uint(0) // bits
	if byte(w) == '-' {
		at, s.skip, s.divisor = 8, 8, -1
	}
	others := notDigits(w^zeros) & tops
	digitsFrom := func(at uint) uint { return uint(bits.TrailingZeros64(others>>at|1<<63>>at)) &^ 7 }
	whole := digitsFrom(at)
	places := uint(0)
	end := at + whole
	if end < 56 && byte(w>>end) == decimal {
		places = digitsFrom(end + 8)
		end += 8 + places
		s.divisor *= pow10[places/8]
	}
	if whole+places == 0 || end > 56 || others>>end&0x80 == 0 {
		return 0, shape{}
	}
	s.low, s.high = 1<<whole-1, (1<<places-1)<<whole
	s.up = uint8(64 - whole - places)
	s.end = byte(w >> end)
	breaks := uint(8)
	if s.end == '\r' {
		if byte(w>>(end+8)) != '\n' {
			return 0, shape{}
		}
		breaks, s.end = 16, '\n'
	}
	s.size = int(end+breaks) / 8
	all := ^uint64(0) >> (64 - end - breaks)
	s.digits = (s.low<<at | s.high<<8<<at) & tops
	s.mask = all &^ (s.low<<at | s.high<<8<<at)
	s.want = w & s.mask
	return s.value(w), s
}
