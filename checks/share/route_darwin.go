package share

import (
	"bytes"
	"context"
	"net"
	"os/exec"
)

func (l *Link) measure(ctx context.Context, iface *net.Interface) {
	if text, err := exec.CommandContext(ctx, "/sbin/ifconfig", iface.Name).Output(); err == nil {
		l.Bits, l.HalfDuplex = ParseInterfaceMedia(bytes.NewReader(text))
	}
	if text, err := exec.CommandContext(ctx, "/usr/sbin/networksetup", "-listallhardwareports").Output(); err == nil {
		l.Wireless = ParseHardwarePorts(bytes.NewReader(text), iface.Name)
	}
}
