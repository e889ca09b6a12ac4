package main

import (
	"runtime"
	"syscall"
	"unsafe"
)

// The heap's first stretch asks the kernel for huge pages. A recording of twenty
// minutes with its analysis touches some hundred megabytes once, and on a
// virtual machine the first touch of each page of 4 KiB costs more than all the
// arithmetic done on it; of huge pages there are five hundred times fewer. Where
// the kernel has none to give it falls back to small ones by itself.
const (
	heapStretch  = 256 << 20 << (^uintptr(0) >> 63) // an hour needs twice as much; address space is short in 32 bits
	hugePage     = 2 << 20
	adviseHuge   = 14 // MADV_HUGEPAGE
	heapPageMask = hugePage - 1
)

// askHugePages takes a stretch of heap, which costs address space alone as long
// as nothing touches it, states the wish, and gives it back to the heap.
func askHugePages() {
	b := make([]byte, heapStretch)
	skip := -int(uintptr(unsafe.Pointer(unsafe.SliceData(b)))) & heapPageMask
	// An error means a kernel without huge pages: nothing is lost.
	_ = syscall.Madvise(b[skip:(len(b)-skip)&^heapPageMask+skip-hugePage], adviseHuge)
	runtime.KeepAlive(b)
	b = nil
	runtime.GC()
}
