//go:build !linux

package stream

func largePages[T float64 | int64]([]T) {}
