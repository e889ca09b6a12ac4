package main

import (
	"runtime"
	"syscall"
)

// The heap's first stretch asks the kernel for huge pages. A recording of twenty
// minutes with its analysis touches some hundred megabytes once, and on a
// virtual machine the first touch of each page of 4 KiB costs more than all the
// arithmetic done on it; of huge pages there are five hundred times fewer. Where
// the kernel has none to give it falls back to small ones by itself.
const (
	heapStretch = 256 << 20 << (^uintptr(0) >> 63) // an hour needs twice as much; address space is short in 32 bits
	adviseHuge  = 14                               // MADV_HUGEPAGE
)

// askHugePages takes a stretch of heap, which costs address space alone as long
// as nothing touches it, states the wish, and gives it back to the heap. It takes
// some milliseconds and may run beside the work. The stretch is taken in pieces:
// one that begins in memory which was used before is cleared, and only the first
// can.
func askHugePages() {
	const piece = 32 << 20
	pieces := make([][]byte, heapStretch/piece)
	for i := range pieces {
		b := make([]byte, piece)
		pieces[i] = b
		// An error means a kernel without huge pages: nothing is lost.
		_ = syscall.Madvise(b, adviseHuge)
	}
	runtime.KeepAlive(pieces)
	pieces = nil
	runtime.GC()
}
