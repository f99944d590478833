package checks

import (
	"loadline/checks/names"
	"loadline/checks/share"
)

// Refusals are the characters and habits of names that a share was measured not to keep, ready to
// look names up. The zero value has none. It is safe for concurrent use.
type Refusals struct {
	any    bool
	ascii  [128]bool
	runes  map[rune]share.Refusal
	habits map[string]share.Refusal
}

// NewRefusals returns what a trial found refused or changed, for looking up names. A nil result, or
// one whose names were not tried, has none.
func NewRefusals(r *share.Result) *Refusals {
	out := &Refusals{runes: map[rune]share.Refusal{}, habits: map[string]share.Refusal{}}
	if r == nil {
		return out
	}
	for _, f := range r.Refused {
		out.any = true
		if f.Habit != "" {
			out.habits[f.Habit] = f
			continue
		}
		out.runes[f.Rune] = f
		if f.Rune >= 0 && f.Rune < 128 {
			out.ascii[f.Rune] = true
		}
	}
	return out
}

// Any reports whether the share refuses or changes anything at all.
func (r *Refusals) Any() bool { return r.any }

// Rune returns what the share does to names with a character; false if it keeps them.
func (r *Refusals) Rune(c rune) (share.Refusal, bool) {
	if c >= 0 && c < 128 && !r.ascii[c] {
		return share.Refusal{}, false
	}
	if f, ok := r.runes[c]; ok {
		return f, true
	}
	// One character beyond the Basic Multilingual Plane was tried for all of them.
	if c > 0xFFFF {
		f, ok := r.habits[share.HabitSupplementary]
		return f, ok
	}
	return share.Refusal{}, false
}

// Name returns the first reason why the share does not keep a name; false if it keeps it.
func (r *Refusals) Name(name string) (share.Refusal, bool) {
	if !r.any {
		return share.Refusal{}, false
	}
	for i := 0; i < len(name); i++ {
		if b := name[i]; b < 128 && r.ascii[b] {
			return r.runes[rune(b)], true
		}
	}
	t := names.Look(name)
	if t.Any(names.NotASCII) && !t.Any(names.Invalid) {
		for _, c := range name {
			if f, ok := r.Rune(c); ok {
				return f, true
			}
		}
	}
	for _, h := range [...]struct {
		trait names.Traits
		habit string
	}{
		{names.Invalid, share.HabitInvalidUTF8},
		{names.TrailingDot, share.HabitTrailingDot},
		{names.TrailingSpace, share.HabitTrailingSpace},
		{names.LeadingSpace, share.HabitLeadingSpace},
		{names.Device, share.HabitDeviceName},
	} {
		if f, ok := r.habits[h.habit]; ok && t.Any(h.trait) {
			return f, true
		}
	}
	return share.Refusal{}, false
}

// LongestName returns the longest name that a share takes, in bytes: the least of what was tried (r,
// nil where nothing was), what the share says of itself (0 where it does not), and the usual limit.
// Some file systems say more than they mean, counting other units than bytes.
func LongestName(r *share.Result, says int) int {
	limit := names.NameMax
	if r != nil && r.NameLimit > 0 {
		limit = min(limit, r.NameLimit)
	}
	if says > 0 {
		limit = min(limit, says)
	}
	return limit
}
