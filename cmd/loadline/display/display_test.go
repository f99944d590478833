package display

import (
	"strings"
	"testing"
)

func TestMissing(t *testing.T) {
	for _, c := range []struct {
		system, display, wayland string
		why                      string // part of the sentence; empty: a window can open
	}{
		{"linux", ":0", "", ""},
		{"linux", ":0", "wayland-0", ""},
		{"linux", "", "", "no display"},
		{"linux", "", "wayland-0", "Xwayland"},
		{"freebsd", "", "", "no display"},
		{"darwin", "", "", ""},
		{"windows", "", "", ""},
	} {
		got := Missing(c.system, func(name string) string {
			return map[string]string{"DISPLAY": c.display, "WAYLAND_DISPLAY": c.wayland}[name]
		})
		if (c.why == "") != (got == "") || !strings.Contains(got, c.why) {
			t.Errorf("%+v: %q", c, got)
		}
	}
}
