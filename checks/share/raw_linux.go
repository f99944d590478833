package share

import (
	"context"
	"os"
	"strconv"
	"strings"
)

// RawMount returns what the system says of a mount in its own words, "" where that cannot be had.
func RawMount(_ context.Context, m *Mount) string {
	var out []string
	if text, err := os.ReadFile("/proc/self/mountinfo"); err == nil {
		for line := range strings.Lines(string(text)) {
			if m.ID != 0 && strings.HasPrefix(line, strconv.Itoa(m.ID)+" ") {
				out = append(out, strings.TrimSpace(line))
			}
		}
	}
	if text, err := os.ReadFile("/proc/self/mountstats"); err == nil && network(m.Type) {
		on := false
		for line := range strings.Lines(string(text)) {
			if rest, ok := strings.CutPrefix(line, "device "); ok {
				row, ok := parseDeviceLine(rest)
				on = ok && row.Point == m.Point
			}
			if t := strings.TrimSpace(line); on && strings.HasPrefix(t, "opts:") {
				out = append(out, t)
			}
		}
	}
	return strings.Join(out, "\n")
}
