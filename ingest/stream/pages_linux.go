package stream

import (
	"syscall"
	"unsafe"
)

// largePages asks for memory in large pages, where the system leaves that to
// the asking: a year's columns are a hundred thousand small ones, and getting
// each takes longer than filling it. Nothing hangs on the answer.
func largePages[T float64 | int64](v []T) {
	const page = 2 << 20
	if len(v) == 0 {
		return
	}
	first := uintptr(unsafe.Pointer(unsafe.SliceData(v)))
	from := int((first+page-1)&^(page-1)-first) / 8
	if to := from + (len(v)-from)*8/page*page/8; from < to {
		_ = syscall.Madvise(unsafe.Slice((*byte)(unsafe.Pointer(&v[from])), (to-from)*8), syscall.MADV_HUGEPAGE)
	}
}
