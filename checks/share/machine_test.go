package share

import (
	"path/filepath"
	"strings"
	"testing"

	"loadline/checks/internal/fixture"
)

// tree writes files of a made-up /sys.
func tree(t *testing.T, files map[string]string) string {
	t.Helper()
	root := t.TempDir()
	for name, text := range files {
		fixture.WriteFile(t, filepath.Join(root, name), text+"\n")
	}
	return root
}

// Files and values: sysfs-class-power in the kernel's ABI documentation.
func TestBatteryFrom(t *testing.T) {
	for name, tc := range map[string]struct {
		files     map[string]string
		on, known bool
	}{
		"nothing":          {map[string]string{}, false, false},
		"on the line":      {map[string]string{"AC/type": "Mains", "AC/online": "1", "BAT0/type": "Battery", "BAT0/status": "Charging"}, false, true},
		"on battery":       {map[string]string{"AC/type": "Mains", "AC/online": "0", "BAT0/type": "Battery", "BAT0/status": "Discharging"}, true, true},
		"no line is shown": {map[string]string{"BAT0/type": "Battery", "BAT0/status": "Discharging"}, true, true},
		"fed by USB":       {map[string]string{"usb/type": "USB", "usb/online": "1", "BAT0/type": "Battery", "BAT0/status": "Discharging"}, false, true},
		"only a mouse":     {map[string]string{"m/type": "Battery", "m/scope": "Device", "m/status": "Discharging"}, false, false},
		"full":             {map[string]string{"BAT0/type": "Battery", "BAT0/status": "Full"}, false, true},
		"taken out":        {map[string]string{"AC/type": "Mains", "AC/online": "0", "BAT0/type": "Battery", "BAT0/present": "0", "BAT0/status": "Unknown"}, false, false},
		"a supply":         {map[string]string{"u/type": "UPS", "u/status": "Discharging"}, true, true},
	} {
		if on, known := batteryFrom(tree(t, tc.files)); on != tc.on || known != tc.known {
			t.Errorf("%s: %v, %v; want %v, %v", name, on, known, tc.on, tc.known)
		}
	}
	if on, known := batteryFrom(filepath.Join(t.TempDir(), "none")); on || known {
		t.Error("no such folder: known")
	}
	if on, known := OnBattery(); on && !known {
		t.Error("on battery, but not known")
	}
}

// The texts are those of macOS, from memory.
func TestMachineTexts(t *testing.T) {
	for text, want := range map[string][2]bool{
		"Now drawing from 'Battery Power'\n -InternalBattery-0 (id=1)\t81%; discharging": {true, true},
		"Now drawing from 'AC Power'\n":  {false, true},
		"Now drawing from 'UPS Power'\n": {true, true},
		"nothing":                        {false, false},
	} {
		if on, known := ParsePowerSource(strings.NewReader(text)); on != want[0] || known != want[1] {
			t.Errorf("%q: %v, %v", text, on, known)
		}
	}
	for text, want := range map[string]struct {
		bits float64
		half bool
	}{
		"en0: flags=8863<UP> mtu 1500\n\tether 02:00:00:00:00:01\n\tmedia: autoselect (1000baseT <full-duplex>)\n\tstatus: active": {1e9, false},
		"\tmedia: autoselect (10Gbase-T <full-duplex,flow-control>)":                                                               {10e9, false},
		"\tmedia: autoselect (2500Base-T <full-duplex>)":                                                                           {2.5e9, false},
		"\tmedia: 100baseTX <half-duplex>":                                                                                         {100e6, true},
		"\tmedia: autoselect (none)":                                                                                               {0, false},
		"\tmedia: autoselect":                                                                                                      {0, false},
	} {
		if bits, half := ParseInterfaceMedia(strings.NewReader(text)); bits != want.bits || half != want.half {
			t.Errorf("%q: %v, %v", text, bits, half)
		}
	}
	ports := "\nHardware Port: Ethernet\nDevice: en0\nEthernet Address: 02:00:00:00:00:01\n\nHardware Port: Wi-Fi\nDevice: en1\n"
	if ParseHardwarePorts(strings.NewReader(ports), "en0") || !ParseHardwarePorts(strings.NewReader(ports), "en1") || ParseHardwarePorts(strings.NewReader(ports), "en2") {
		t.Error("hardware ports")
	}
}
