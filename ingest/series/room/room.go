// Package room makes the long arrays of a record and of its grid. A season at
// ten seconds is a hundred thousand small pages of memory for one table, and
// getting each takes longer than filling it: where the system leaves the size
// of pages to the asking, it is asked for large ones. Nothing hangs on the
// answer. It is a leaf.
package room

import "unsafe"

// page is a large page of the systems that have them.
const page = 2 << 20

// plain values hold no pointers.
type plain interface {
	~bool | ~uint8 | ~int16 | ~int32 | ~int | ~int64 | ~float64
}

// Make gives n zeros.
func Make[T plain](n int) []T { return Cap[T](n)[:n] }

// Cap gives an empty slice with room for n.
func Cap[T plain](n int) []T {
	v := make([]T, n)
	Large(v)
	return v[:0]
}

// Large asks for large pages under an array that was just made and not yet
// written to.
func Large[T plain](v []T) {
	size := int(unsafe.Sizeof(*new(T)))
	if len(v)*size < page {
		return
	}
	first := uintptr(unsafe.Pointer(unsafe.SliceData(v)))
	ask(first&^(page-1), (first+uintptr(len(v)*size)+page-1)&^(page-1))
}
