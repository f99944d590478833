package disk

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/godbus/dbus/v5"
)

// Health asks for the reports of the disks under a path on their own health, by way of the system's service
// for disks (UDisks2). It returns the bad signs and the disks that have reported: without any, nothing is
// known. It does not wake a disk for it.
func Health(ctx context.Context, path string) (found []Trouble, asked []string, err error) {
	device := deviceUnder(path)
	if device == 0 {
		return nil, nil, nil
	}
	disks := sysfs("/sys").disks(deviceNumber(device))
	if len(disks) == 0 {
		return nil, nil, nil
	}
	ctx, cancel := context.WithTimeout(ctx, busPatience)
	defer cancel()
	conn, err := systemBus(ctx)
	if err != nil {
		return nil, nil, fmt.Errorf("the system's service for disks: %w", err)
	}
	defer conn.Close()
	var objects managed
	err = conn.Object("org.freedesktop.UDisks2", "/org/freedesktop/UDisks2").
		CallWithContext(ctx, "org.freedesktop.DBus.ObjectManager.GetManagedObjects", 0).Store(&objects)
	if err != nil {
		return nil, nil, fmt.Errorf("the system's service for disks: %w", err)
	}
	for _, r := range objects.reports(disks) {
		if r.read {
			asked = append(asked, r.device)
			found = append(found, r.troubles()...)
		}
	}
	return found, asked, nil
}

// disks returns the names of the whole disks that a block device is on.
func (s sysfs) disks(number string) (names []string) {
	dir, err := filepath.EvalSymlinks(filepath.Join(string(s), "dev/block", number))
	if err != nil {
		return nil
	}
	s.eachDisk(dir, deepest, func(disk string) {
		if name := filepath.Base(disk); !slices.Contains(names, name) {
			names = append(names, name)
		}
	})
	return names
}

// managed are the objects of UDisks2: path, interface, property.
type managed map[dbus.ObjectPath]map[string]map[string]dbus.Variant

// property returns one property, or the zero value of its type.
func property[T any](of map[string]dbus.Variant, name string) (v T) {
	if have, ok := of[name].Value().(T); ok {
		return have
	}
	return v
}

// reports picks the reports of disks by their name.
func (m managed) reports(disks []string) (all []report) {
	for _, disk := range disks {
		for _, object := range m {
			block, ok := object["org.freedesktop.UDisks2.Block"]
			// Names of devices are bytes with a zero at the end.
			if !ok || strings.TrimRight(string(property[[]byte](block, "Device")), "\x00") != "/dev/"+disk {
				continue
			}
			drive := m[property[dbus.ObjectPath](block, "Drive")]
			r := report{device: disk, badSectors: -1}
			if ata, ok := drive["org.freedesktop.UDisks2.Drive.Ata"]; ok && property[uint64](ata, "SmartUpdated") > 0 {
				r.read = true
				r.failing = property[bool](ata, "SmartFailing")
				r.badSectors = property[int64](ata, "SmartNumBadSectors")
			}
			if nvme, ok := drive["org.freedesktop.UDisks2.NVMe.Controller"]; ok && property[uint64](nvme, "SmartUpdated") > 0 {
				r.read = true
				// The controller warns of its temperature too, which passes.
				for _, w := range property[[]string](nvme, "SmartCriticalWarning") {
					if w != "temperature" {
						r.warnings = append(r.warnings, strings.ReplaceAll(w, "_", " "))
					}
				}
			}
			all = append(all, r)
		}
	}
	return all
}

// A report of a disk's own health, as far as it is asked for (SMART: ATA/ATAPI Command Set; NVM Express Base
// Specification).
type report struct {
	device     string
	read       bool // the disk has reported
	failing    bool
	badSectors int64    // that it knows of; below 0 unknown
	warnings   []string // its own words
}

func (r *report) troubles() (found []Trouble) {
	if r.failing {
		found = append(found, Trouble{Sign: HealthFailing, Device: r.device})
	}
	if r.badSectors > 0 {
		found = append(found, Trouble{Sign: BadSectors, Device: r.device, Count: uint64(r.badSectors)})
	}
	slices.Sort(r.warnings)
	for _, w := range r.warnings {
		found = append(found, Trouble{Sign: HealthWarning, Device: r.device, Detail: w})
	}
	return found
}
