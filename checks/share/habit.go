package share

import "strings"

// The habits of names that a Refusal can speak of.
const (
	HabitTrailingDot   = "trailing-dot"
	HabitTrailingSpace = "trailing-space"
	HabitLeadingSpace  = "leading-space"
	HabitInvalidUTF8   = "invalid-utf8"
	HabitDeviceName    = "device-name"
	// HabitSupplementary stands for every character beyond U+FFFF: one is tried for all.
	HabitSupplementary = "supplementary-character"
)

// Remote reports whether somebody else than this kernel judges permissions there: a server, or a
// FUSE daemon.
func (m *Mount) Remote() bool { return network(m.Type) || strings.HasPrefix(m.Type, "fuse") }
