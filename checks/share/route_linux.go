package share

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

const sysNet = "/sys/class/net"

func (l *Link) measure(_ context.Context, iface *net.Interface) { l.read(sysNet, iface.Name) }

// read takes the rate from the files of /sys/class/net/NAME (sysfs-class-net of the kernel's ABI
// documentation): speed in Mbit/s, -1 or an error where the interface has none; duplex half, full
// or unknown.
func (l *Link) read(root, name string) {
	dir := filepath.Join(root, name)
	if text, err := os.ReadFile(filepath.Join(dir, "speed")); err == nil {
		// 4294967295 is the unknown speed of the kernel's own table, printed by old drivers.
		if n, err := strconv.ParseInt(strings.TrimSpace(string(text)), 10, 64); err == nil && n > 0 && n < 1<<32-1 {
			l.Bits = float64(n) * 1e6
		}
	}
	if text, err := os.ReadFile(filepath.Join(dir, "duplex")); err == nil {
		l.HalfDuplex = strings.TrimSpace(string(text)) == "half"
	}
	for _, mark := range []string{"wireless", "phy80211"} {
		if _, err := os.Stat(filepath.Join(dir, mark)); err == nil {
			l.Wireless = true
		}
	}
}
