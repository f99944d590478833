package share

import (
	"bufio"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// OnBattery says whether this computer runs on its battery. known is false where the system does
// not tell, as on most desktop machines.
func OnBattery() (onBattery, known bool) { return battery() }

// batteryFrom reads the files of /sys/class/power_supply (sysfs-class-power of the kernel's ABI
// documentation). Batteries of a mouse or a headset (scope Device) do not count.
func batteryFrom(root string) (onBattery, known bool) {
	supplies, err := os.ReadDir(root)
	if err != nil {
		return false, false
	}
	var online, batteries, discharging int
	for _, s := range supplies {
		read := func(name string) string {
			text, err := os.ReadFile(filepath.Join(root, s.Name(), name))
			if err != nil {
				return ""
			}
			return strings.TrimSpace(string(text))
		}
		if read("scope") == "Device" {
			continue
		}
		switch read("type") {
		case "Mains", "USB", "Wireless":
			if o := read("online"); o == "1" || o == "2" { // 2: its voltage can be set
				online++
			}
		case "Battery", "UPS":
			if read("present") == "0" {
				continue
			}
			switch read("status") {
			case "Discharging":
				batteries++
				discharging++
			case "Charging", "Full", "Not charging":
				batteries++
			}
		}
	}
	switch {
	case online > 0:
		return false, true
	case discharging > 0:
		return true, true
	case batteries > 0:
		return false, true
	}
	// A line that is off, and no battery that says anything: something feeds the machine.
	return false, false
}

// ParsePowerSource reads what `pmset -g batt` of macOS prints first: "Now drawing from 'Battery
// Power'".
func ParsePowerSource(r io.Reader) (onBattery, known bool) {
	sc := bufio.NewScanner(r)
	for sc.Scan() {
		_, from, ok := strings.Cut(sc.Text(), "drawing from '")
		if !ok {
			continue
		}
		from, _, _ = strings.Cut(from, "'")
		switch from {
		case "Battery Power", "UPS Power":
			return true, true
		case "AC Power":
			return false, true
		}
	}
	return false, false
}
