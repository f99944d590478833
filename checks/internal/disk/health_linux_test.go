package disk

import (
	"fmt"
	"path/filepath"
	"testing"

	"loadline/checks/internal/fixture"

	"github.com/godbus/dbus/v5"
)

const (
	udisks     = "org.freedesktop.UDisks2"
	udisksPath = "/org/freedesktop/UDisks2"
)

// drive adds a disk to UDisks2's stand-in. Its properties and their types are those that the
// documentation of UDisks2 lists under Block, Drive.Ata and NVMe.Controller.
func drive(t *testing.T, conn *dbus.Conn, device, interf string, properties map[string]any) {
	t.Helper()
	variants := map[string]dbus.Variant{}
	for name, v := range properties {
		variants[name] = dbus.MakeVariant(v)
	}
	path := dbus.ObjectPath(udisksPath + "/drives/of_" + device)
	type method struct {
		Name, In, Out, Code string
	}
	add := func(path dbus.ObjectPath, interf string, properties map[string]dbus.Variant) {
		call(t, conn, udisks, udisksPath, "org.freedesktop.DBus.Mock.AddObject", string(path), udisks+interf, properties, []method{})
	}
	add(path, interf, variants)
	add(dbus.ObjectPath(udisksPath+"/block_devices/"+device), ".Block", map[string]dbus.Variant{
		"Device": dbus.MakeVariant(append([]byte("/dev/"+device), 0)),
		"Drive":  dbus.MakeVariant(path),
	})
}

func TestHealth(t *testing.T) {
	conn := bus(t)
	mock(t, conn, udisks, "--system", "--is-object-manager", udisks, udisksPath, udisks+".Manager")
	good := map[string]any{"SmartUpdated": uint64(1764000000), "SmartFailing": false, "SmartNumBadSectors": int64(0)}
	drive(t, conn, "sda", ".Drive.Ata", good)
	drive(t, conn, "sdb", ".Drive.Ata", map[string]any{"SmartUpdated": uint64(1764000000), "SmartFailing": true, "SmartNumBadSectors": int64(8)})
	drive(t, conn, "sdc", ".Drive.Ata", map[string]any{"SmartUpdated": uint64(0), "SmartFailing": false, "SmartNumBadSectors": int64(-1)})
	drive(t, conn, "nvme0n1", ".NVMe.Controller", map[string]any{"SmartUpdated": uint64(1764000000), "SmartCriticalWarning": []string{"temperature", "volatile_mem", "spare"}})

	var objects managed
	fixture.Must(t, conn.Object(udisks, udisksPath).Call("org.freedesktop.DBus.ObjectManager.GetManagedObjects", 0).Store(&objects))
	for disk, want := range map[string]string{
		"sda":     "read []",
		"sdb":     "read [{health-failing sdb 0 0001-01-01 00:00:00 +0000 UTC } {bad-sectors sdb 8 0001-01-01 00:00:00 +0000 UTC }]",
		"sdc":     "not read",
		"nvme0n1": "read [{health-warning nvme0n1 0 0001-01-01 00:00:00 +0000 UTC spare} {health-warning nvme0n1 0 0001-01-01 00:00:00 +0000 UTC volatile mem}]",
	} {
		got := "not read"
		for _, r := range objects.reports([]string{disk}) {
			if r.read {
				got = fmt.Sprintf("read %v", r.troubles())
			}
		}
		if got != want {
			t.Errorf("%s: %s, want %s", disk, got, want)
		}
	}
	if all := objects.reports([]string{"sda", "sdz", "sdb"}); len(all) != 2 {
		t.Errorf("two of three are known: %+v", all)
	}

	// Through the front door, for the disk that this folder is really on.
	dir := t.TempDir()
	disks := sysfs("/sys").disks(deviceNumber(deviceUnder(dir)))
	if found, asked, err := Health(t.Context(), dir); err != nil || len(found) > 0 || len(asked) > 0 {
		t.Errorf("before: %v, %v, %v", found, asked, err)
	}
	if len(disks) != 1 {
		t.Fatalf("%s is on %v; a folder for temporary files on one disk is needed", dir, disks)
	}
	drive(t, conn, disks[0], ".Drive.Ata", map[string]any{"SmartUpdated": uint64(1764000000), "SmartFailing": true, "SmartNumBadSectors": int64(-1)})
	found, asked, err := Health(t.Context(), dir)
	if err != nil || fmt.Sprint(asked) != fmt.Sprint(disks) || len(found) != 1 || found[0].Sign != HealthFailing || found[0].Device != disks[0] {
		t.Errorf("%v, %v, %v", found, asked, err)
	}
}

// Without the service nothing is known, and that is said.
func TestNoHealth(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("DBUS_SYSTEM_BUS_ADDRESS", "unix:path="+filepath.Join(dir, "none"))
	if found, asked, err := Health(t.Context(), dir); err == nil || len(found) > 0 || len(asked) > 0 {
		t.Errorf("%v, %v, %v", found, asked, err)
	}
}
