package disk

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"howett.net/plist"
)

// What the tools of macOS say of disks. No document of Apple's describes these keys: they are as seen in
// what the tools print, in public threads and test data.

// macDisk is what "diskutil info -plist NAME" says of a disk or volume.
type macDisk struct {
	name       string // disk4s1
	whole      string // the disk that a partition is of
	bus        string // USB, SATA, PCI-Express, Apple Fabric, Disk Image …
	solidState Answer
	stores     []string // the partitions that an APFS volume is kept on; with a fusion of two disks there are two
}

func parseMacDisk(b []byte) (macDisk, error) {
	var said map[string]any
	if _, err := plist.Unmarshal(b, &said); err != nil {
		return macDisk{}, fmt.Errorf("diskutil: %w", err)
	}
	text := func(of map[string]any, key string) string { s, _ := of[key].(string); return s }
	// Where diskutil fails it may still end with status 0.
	if said["Error"] == true || text(said, "DeviceIdentifier") == "" {
		return macDisk{}, fmt.Errorf("diskutil: %s", cmp.Or(text(said, "ErrorMessage"), "it knows no such disk"))
	}
	d := macDisk{name: text(said, "DeviceIdentifier"), whole: text(said, "ParentWholeDisk"), bus: text(said, "BusProtocol")}
	if solid, ok := said["SolidState"].(bool); ok {
		d.solidState = answer(solid)
	}
	stores, _ := said["APFSPhysicalStores"].([]any)
	for _, s := range stores {
		store, _ := s.(map[string]any)
		if name := cmp.Or(text(store, "APFSPhysicalStore"), text(store, "DeviceIdentifier")); name != "" {
			d.stores = append(d.stores, name)
		}
	}
	return d, nil
}

// macMedium follows a volume to the disks that it is on: an APFS volume to the partitions of its container,
// a partition to its disk. Of several the worst counts.
func macMedium(volume string, info func(name string) (macDisk, error)) Medium {
	m := Medium{Network: No, Volume: volume}
	next, seen, first := []string{volume}, map[string]bool{}, true
	for len(next) > 0 && len(seen) < deepestMac {
		name := next[0]
		next = next[1:]
		if seen[name] {
			continue
		}
		seen[name] = true
		d, err := info(name)
		if err != nil {
			continue
		}
		if len(d.stores) > 0 {
			next = append(next, d.stores...)
			continue
		}
		if d.whole != "" && d.whole != name && !seen[d.whole] {
			next = append(next, d.whole)
			continue
		}
		rotates, usb := d.facts()
		if first {
			m.Disk, m.Rotates, m.USB = d.name, rotates, usb
		} else {
			m.Disk, m.Rotates, m.USB = "", worse(m.Rotates, rotates), worse(m.USB, usb)
		}
		first = false
	}
	return m
}

const deepestMac = 16

// facts of a whole disk. A disk on USB that is not said to be solid state may still be: its bridge does not say.
func (d *macDisk) facts() (rotates, usb Answer) {
	if d.bus != "" && d.bus != "Disk Image" {
		usb = answer(d.bus == "USB")
	}
	switch {
	case d.solidState == Yes:
		rotates = No
	case d.solidState == No && usb == No:
		rotates = Yes
	}
	return rotates, usb
}

// macUSBSpeed looks for a disk in what "system_profiler -json SPUSBDataType SPUSBHostDataType" says, and
// returns the slowest link on the way to it, Mb/s; 0 if it is not there. The second of the two took the place of the
// first in macOS 26.
func macUSBSpeed(profile []byte, disk string) int {
	var tree any
	if disk == "" || json.Unmarshal(profile, &tree) != nil {
		return 0
	}
	mbps, _ := onTheWay(tree, 0, func(node map[string]any) (mbps int, found bool) {
		for _, key := range []string{"device_speed", "USBDeviceKeyLinkSpeed"} {
			if text, ok := node[key].(string); ok {
				mbps = slower(mbps, macSpeed(text))
			}
		}
		return mbps, node["bsd_name"] == disk
	})
	return mbps
}

// macRegistrySpeed is the same from "ioreg -a -r -l -w0 -c IOUSBHostDevice", whose devices have a UsbLinkSpeed
// in b/s and whose media a BSD Name.
func macRegistrySpeed(registry []byte, disk string) int {
	var tree any
	if _, err := plist.Unmarshal(registry, &tree); disk == "" || err != nil {
		return 0
	}
	mbps, _ := onTheWay(tree, 0, func(node map[string]any) (mbps int, found bool) {
		if bits, ok := node["UsbLinkSpeed"].(uint64); ok {
			mbps = int(bits / 1e6)
		}
		return mbps, node["BSD Name"] == disk
	})
	return mbps
}

// onTheWay looks in a tree for the node that look finds, and returns the slowest speed on the way to it.
func onTheWay(tree any, mbps int, look func(node map[string]any) (mbps int, found bool)) (int, bool) {
	switch t := tree.(type) {
	case []any:
		for _, in := range t {
			if at, found := onTheWay(in, mbps, look); found {
				return at, true
			}
		}
	case map[string]any:
		own, found := look(t)
		mbps = slower(mbps, own)
		if found {
			return mbps, true
		}
		for _, key := range slices.Sorted(maps.Keys(t)) { // the same answer each time
			if at, found := onTheWay(t[key], mbps, look); found {
				return at, true
			}
		}
	}
	return 0, false
}

// macSpeed reads a speed as system_profiler writes it, Mb/s: super_speed, 5 Gb/s, Up to 480 Mb/s,
// up_to_480_Mb_per_sec. The names are those of the USB specifications.
func macSpeed(text string) int {
	switch text {
	case "low_speed":
		return 1 // 1.5
	case "full_speed":
		return 12
	case "high_speed":
		return 480
	case "super_speed":
		return 5000
	case "super_speed_plus":
		return 10000
	case "super_speed_plus_by_2":
		return 20000
	}
	words := strings.Fields(strings.ReplaceAll(strings.ToLower(text), "_", " "))
	for i := 0; i+1 < len(words); i++ {
		n, err := strconv.ParseFloat(words[i], 64)
		if err != nil || !(n >= 0 && n <= 1e6) { // NaN is neither
			continue
		}
		switch words[i+1] {
		case "gb/s", "gb":
			return int(n * 1000)
		case "mb/s", "mb":
			return int(n)
		}
	}
	return 0
}
