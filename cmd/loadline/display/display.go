// Package display tells whether a window can open here, before the toolkit would panic.
package display

// Missing says why no window can open on a system, as runtime.GOOS names it; empty if one can.
func Missing(system string, env func(string) string) string {
	switch {
	case system == "darwin" || system == "windows" || env("DISPLAY") != "":
		return ""
	case env("WAYLAND_DISPLAY") != "":
		return "No window can open: WAYLAND_DISPLAY is set but DISPLAY is not, and the window needs Xwayland."
	}
	return "No window can open, because there is no display here: neither DISPLAY nor WAYLAND_DISPLAY is set."
}
