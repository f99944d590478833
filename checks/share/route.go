package share

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"strconv"
	"strings"
)

// A Link is the network interface by which a server is reached.
type Link struct {
	Interface  string  // name, as the system shows it
	Bits       float64 // rate it negotiated, bits a second; 0 unknown
	Wireless   bool
	HalfDuplex bool
	Loopback   bool
}

// nfsPort is where NFS is served (RFC 7530, 3.1).
const nfsPort = "2049"

// Route returns the interface that this computer sends by when it talks to host, a name or an
// address (see Mount.Server). It asks the system's routing table and sends nothing, except that a
// name has to be looked up.
func Route(ctx context.Context, host string) (Link, error) {
	host = strings.Trim(host, "[]")
	if host == "" {
		return Link{}, fmt.Errorf("the route to the share: its server is not known")
	}
	var d net.Dialer
	// Connecting a UDP socket chooses the route and the local address and sends no packet.
	conn, err := d.DialContext(ctx, "udp", net.JoinHostPort(host, nfsPort))
	if err != nil {
		return Link{}, fmt.Errorf("the route to %q: %w", host, err)
	}
	defer conn.Close()
	local, ok := conn.LocalAddr().(*net.UDPAddr)
	if !ok {
		return Link{}, fmt.Errorf("the route to %q: no local address", host)
	}
	iface, err := interfaceOf(local)
	if err != nil {
		return Link{}, fmt.Errorf("the route to %q: %w", host, err)
	}
	l := Link{Interface: iface.Name, Loopback: iface.Flags&net.FlagLoopback != 0}
	if !l.Loopback {
		l.measure(ctx, iface)
	}
	return l, nil
}

func interfaceOf(local *net.UDPAddr) (*net.Interface, error) {
	if local.Zone != "" {
		return net.InterfaceByName(local.Zone)
	}
	all, err := net.Interfaces()
	if err != nil {
		return nil, err
	}
	for i := range all {
		addrs, err := all[i].Addrs()
		if err != nil {
			continue // it went away meanwhile
		}
		for _, a := range addrs {
			if n, ok := a.(*net.IPNet); ok && n.IP.Equal(local.IP) {
				return &all[i], nil
			}
		}
	}
	return nil, fmt.Errorf("no interface has the address %v", local.IP)
}

// ParseInterfaceMedia reads what `ifconfig INTERFACE` of macOS and the BSDs prints: rate and
// duplex from its line "media: autoselect (1000baseT <full-duplex>)".
func ParseInterfaceMedia(r io.Reader) (bits float64, half bool) {
	sc := bufio.NewScanner(r)
	for sc.Scan() {
		text, ok := strings.CutPrefix(strings.TrimSpace(sc.Text()), "media:")
		if !ok {
			continue
		}
		half = strings.Contains(text, "half-duplex")
		for word := range strings.FieldsSeq(strings.NewReplacer("(", " ", ")", " ").Replace(text)) {
			// 10baseT, 1000baseT, 2500Base-T, 10Gbase-T
			number, _, ok := strings.Cut(strings.ToLower(word), "base")
			if !ok {
				continue
			}
			unit := 1e6
			if n, ok := strings.CutSuffix(number, "g"); ok {
				number, unit = n, 1e9
			}
			if n, err := strconv.ParseUint(number, 10, 32); err == nil {
				bits = float64(n) * unit
			}
		}
	}
	return bits, half
}

// ParseHardwarePorts reads what `networksetup -listallhardwareports` of macOS prints and says
// whether an interface is a wireless one.
func ParseHardwarePorts(r io.Reader, name string) (wireless bool) {
	sc := bufio.NewScanner(r)
	port := ""
	for sc.Scan() {
		line := strings.TrimSpace(sc.Text())
		if p, ok := strings.CutPrefix(line, "Hardware Port:"); ok {
			port = strings.ToLower(strings.TrimSpace(p))
		}
		if d, ok := strings.CutPrefix(line, "Device:"); ok && strings.TrimSpace(d) == name {
			return port == "wi-fi" || port == "airport"
		}
	}
	return false
}
