//go:build !linux

package main

// askHugePages does nothing where the system decides by itself.
func askHugePages() {}
