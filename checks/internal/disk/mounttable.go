package disk

import (
	"strconv"
	"strings"
)

// A MountRow is a row of the mount table of Linux (proc_pid_mountinfo(5)).
type MountRow struct {
	ID, Parent   string
	Device       string // two numbers with a colon between
	Root, Point  string
	Options      string // of this mount
	Type, Source string
	Super        string // options of the file system, however often it is mounted; it may have none to show
}

// ReadMountRow reads one row:
//
//	36 22 0:35 / /mnt/ro ro,relatime shared:1 - nfs 127.0.0.1:/main ro,vers=3
func ReadMountRow(line string) (MountRow, bool) {
	head, tail, ok := strings.Cut(line, " - ")
	f, rest := strings.Split(head, " "), append(strings.Split(tail, " "), "")
	if !ok || len(f) < 6 || len(rest) < 3 {
		return MountRow{}, false
	}
	return MountRow{
		ID: f[0], Parent: f[1], Device: f[2], Root: UnescapeMount(f[3]), Point: UnescapeMount(f[4]), Options: f[5],
		Type: UnescapeMount(rest[0]), Source: UnescapeMount(rest[1]), Super: rest[2],
	}, true
}

// UnescapeMount turns the octal escapes of a mount table (\040 for a space) into bytes.
func UnescapeMount(s string) string {
	if !strings.Contains(s, `\`) {
		return s
	}
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] == '\\' && i+3 < len(s) {
			if n, err := strconv.ParseUint(s[i+1:i+4], 8, 8); err == nil {
				b.WriteByte(byte(n))
				i += 3
				continue
			}
		}
		b.WriteByte(s[i])
	}
	return b.String()
}
