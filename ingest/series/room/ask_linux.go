package room

import "syscall"

// ask takes addresses, not memory: they reach beyond the array, to the pages that
// it shares with others. Nothing there is read or written.
func ask(from, to uintptr) {
	_, _, _ = syscall.Syscall(syscall.SYS_MADVISE, from, to-from, syscall.MADV_HUGEPAGE)
}
