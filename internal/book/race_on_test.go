//go:build race

package book

const raceOn = true
