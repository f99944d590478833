package share

import (
	"context"
	"fmt"
	"os/exec"
	"strings"
)

// RawMount returns what the system says of a mount in its own words, "" where that cannot be had.
func RawMount(ctx context.Context, m *Mount) string {
	var out []string
	if table, err := mountTable(); err == nil {
		for i := range table {
			st := &table[i]
			if withoutFirmlink(firmlinks(), cString(st.Mntonname[:])) == m.Point {
				out = append(out, fmt.Sprintf("statfs: %s, flags %#x, extended flags %#x, subtype %d", cString(st.Fstypename[:]), st.Flags, st.Flags_ext, st.Fssubtype))
			}
		}
	}
	if m.Type == "nfs" || m.Type == "nfs4" {
		text, err := exec.CommandContext(ctx, "/usr/bin/nfsstat", "-m").Output()
		if err != nil {
			return strings.Join(append(out, "nfsstat -m: "+err.Error()), "\n")
		}
		on := false
		for line := range strings.Lines(string(text)) {
			if line[0] != ' ' && line[0] != '\t' {
				on = strings.HasSuffix(strings.TrimSpace(line), " from "+m.From)
			}
			if on {
				out = append(out, strings.TrimRight(line, "\n"))
			}
		}
	}
	return strings.Join(out, "\n")
}

func cString(b []byte) string {
	text, _, _ := strings.Cut(string(b), "\x00")
	return text
}
