package share

import (
	"os/exec"
	"regexp"
	"testing"
)

// Files and values: sysfs-class-net in the kernel's ABI documentation.
func TestLinkRead(t *testing.T) {
	root := tree(t, map[string]string{
		"eth0/speed": "10000", "eth0/duplex": "full",
		"eth1/speed": "100", "eth1/duplex": "half",
		"eth2/speed": "-1", "eth2/duplex": "unknown",
		"eth3/speed":          "4294967295",
		"wlan0/wireless/link": "0", "wlan1/phy80211/name": "phy0",
	})
	for name, want := range map[string]Link{
		"eth0": {Bits: 10e9}, "eth1": {Bits: 100e6, HalfDuplex: true}, "eth2": {}, "eth3": {},
		"wlan0": {Wireless: true}, "wlan1": {Wireless: true}, "none": {},
	} {
		var got Link
		if got.read(root, name); got != want {
			t.Errorf("%s: %+v, want %+v", name, got, want)
		}
	}
}

// The interface is the one that `ip route get` of iproute2 names.
func TestRouteAgainstIP(t *testing.T) {
	device := regexp.MustCompile(` dev (\S+)`)
	for _, host := range []string{"127.0.0.1", "::1", "192.0.2.1", "2001:db8::1"} { // RFC 5737, RFC 3849
		out, err := exec.Command("ip", "-o", "route", "get", host).CombinedOutput()
		got, routeErr := Route(t.Context(), host)
		m := device.FindSubmatch(out)
		if err != nil || m == nil {
			if routeErr == nil {
				t.Errorf("%s: ip says %q, Route says %+v", host, out, got)
			}
			continue
		}
		if routeErr != nil || got.Interface != string(m[1]) || got.Loopback != (got.Interface == "lo") {
			t.Errorf("%s: ip says %q, Route says %+v, %v", host, out, got, routeErr)
		}
	}
	if _, err := Route(t.Context(), ""); err == nil {
		t.Error("no host has a route")
	}
}
