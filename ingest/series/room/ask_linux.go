package room

import "syscall"

func ask(b []byte) { _ = syscall.Madvise(b, syscall.MADV_HUGEPAGE) }
