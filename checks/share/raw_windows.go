package share

import (
	"context"
	"os/exec"
	"path/filepath"

	"golang.org/x/sys/windows"
)

// RawMount returns what the system says of a mount in its own words, "" where that cannot be had.
func RawMount(ctx context.Context, m *Mount) string {
	system, err := windows.GetSystemDirectory()
	if err != nil || !network(m.Type) {
		return ""
	}
	text, err := exec.CommandContext(ctx, filepath.Join(system, "mount.exe")).Output()
	if err != nil {
		return ""
	}
	return string(text)
}
