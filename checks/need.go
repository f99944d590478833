package checks

import "loadline/checks/walk"

const (
	// UsualUnit is how many bytes a share allocates at a time, where that was not measured (common
	// practice, no source).
	UsualUnit = int64(4096)
	// reservePart is the part of a copy that should be left free: one in fifty (common practice, no source).
	reservePart = 50
)

// A Need is what a copy takes up on a share. Hard links count each and sparse files in full, since that is
// how they arrive.
type Need struct {
	Bytes   int64 // in whole allocation units
	Inodes  int64 // one for each file and folder
	Largest int64 // bytes of the largest file
}

// RoundUp returns a size in whole allocation units.
func RoundUp(n, unit int64) int64 {
	if rest := n % unit; rest > 0 {
		return walk.AddSizes(n, unit-rest)
	}
	return n
}

// Reserve is 2 % of the copy, rounded up.
func (n Need) Reserve() int64 { return (n.Bytes-1)/reservePart + min(n.Bytes, 1) }

// Margin is what should be left free once the copy is done: 2 % of it, and room for a second try of its
// largest file.
func (n Need) Margin() int64 { return max(n.Reserve(), n.Largest) }

// Room is the capacity to ask for: the copy and its margin.
func (n Need) Room() int64 { return walk.AddSizes(n.Bytes, n.Margin()) }
