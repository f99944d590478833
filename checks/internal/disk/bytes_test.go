package disk

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"strings"
	"testing"

	"loadline/checks/internal/fixture"
)

// hexed is what encoding/binary makes of fields in this order.
func hexed(t testing.TB, order binary.AppendByteOrder, fields ...any) []byte {
	t.Helper()
	var b []byte
	for _, f := range fields {
		switch f := f.(type) {
		case uint16:
			b = order.AppendUint16(b, f)
		case uint32:
			b = order.AppendUint32(b, f)
		case uint64:
			b = order.AppendUint64(b, f)
		case []byte:
			b = append(b, f...)
		default:
			t.Fatalf("%T", f)
		}
	}
	return b
}

// Numbers and structures of macOS, from Apple's xnu 11417.101.15: bsd/sys/ioccom.h (_IOW: 0x80000000, the size from
// bit 16, the group from bit 8, the number), bsd/sys/fsctl.h (group 'A' is 0x41, number 1, a uint32_t; FULLSYNC 1,
// WAIT 2), bsd/sys/mman.h, bsd/sys/attr.h, bsd/sys/fcntl.h.
func TestMacBytes(t *testing.T) {
	if syncVolume != 0x80044101 || syncFull|syncWait != 3 || mincoreInCore != 1 {
		t.Errorf("%x, %x, %x", uint32(syncVolume), syncFull|syncWait, mincoreInCore)
	}
	request := volumeUUIDRequest()
	// u_short bitmapcount (ATTR_BIT_MAP_COUNT 5), u_int16_t reserved, attrgroup_t commonattr, volattr (ATTR_VOL_INFO
	// 0x80000000, ATTR_VOL_UUID 0x40000), dirattr, fileattr, forkattr.
	if want := hexed(t, binary.LittleEndian, uint16(5), uint16(0), uint32(0), uint32(0x80040000), uint32(0), uint32(0), uint32(0)); !bytes.Equal(request[:], want) {
		t.Errorf("attrlist\n%x, want\n%x", request, want)
	}
	id, err := hex.DecodeString("0123456789abcdeffedcba9876543210")
	fixture.Must(t, err)
	answer := hexed(t, binary.LittleEndian, uint32(20), id, make([]byte, 12))
	if got, err := volumeUUID(answer); err != nil || got != "01234567-89ab-cdef-fedc-ba9876543210" {
		t.Errorf("%s, %v", got, err)
	}
	for _, short := range [][]byte{nil, answer[:19], hexed(t, binary.LittleEndian, uint32(4), make([]byte, 28))} {
		if got, err := volumeUUID(short); err == nil {
			t.Errorf("%x is %s", short, got)
		}
	}
	// #pragma pack(4): unsigned int l2p_flags, off_t l2p_contigbytes (in: how many), off_t l2p_devoffset (in: in the
	// file; out: on the device, -1 for none).
	query := log2physRequest(8192, 4096)
	if want := hexed(t, binary.LittleEndian, uint32(0), uint64(4096), uint64(8192)); !bytes.Equal(query[:], want) {
		t.Errorf("log2phys\n%x, want\n%x", query, want)
	}
	for at, ok := range map[uint64]bool{0: true, 123456789: true, ^uint64(0): false} {
		var b [20]byte
		copy(b[:], hexed(t, binary.LittleEndian, uint32(0), uint64(4096), at))
		if got, known := log2physAnswer(b); known != ok || got != int64(at) {
			t.Errorf("%d: %d, %v", at, got, known)
		}
	}
}

// Structures of Linux, include/uapi/linux/fiemap.h.
func TestFiemapBytes(t *testing.T) {
	request := fiemapRequest()
	// fm_start, fm_length, fm_flags, fm_mapped_extents, fm_extent_count, fm_reserved.
	head := func(mapped uint32) []byte {
		return hexed(t, binary.NativeEndian, uint64(0), ^uint64(0), uint32(0), mapped, uint32(1), uint32(0))
	}
	if want := append(head(0), make([]byte, 56)...); !bytes.Equal(request[:], want) {
		t.Errorf("%x, want\n%x", request, want)
	}
	for name, c := range map[string]struct {
		mapped uint32
		at     uint64
		flags  uint32
		ok     bool
	}{
		"a place":    {1, 0x123456000, 0, true},
		"the last":   {1, 0x123456000, 0x1, true},
		"compressed": {1, 0x123456000, 0x8, true},
		"none":       {0, 0x123456000, 0, false},
		"unknown":    {1, 0x123456000, 0x2, false},
		"not yet":    {1, 0, 0x4 | 0x2, false},
		"inline":     {1, 0x123456000, 0x200 | 0x100, false},
		"zero":       {1, 0, 0, false},
	} {
		var b [fiemapHead + fiemapExtent]byte
		// fe_logical, fe_physical, fe_length, fe_reserved64[2], fe_flags, fe_reserved[3].
		copy(b[:], append(head(c.mapped), hexed(t, binary.NativeEndian, uint64(0), c.at, uint64(4096), uint64(0), uint64(0), c.flags, make([]byte, 12))...))
		if at, ok := fiemapAnswer(b); ok != c.ok || ok && at != int64(c.at) {
			t.Errorf("%s: %d, %v", name, at, ok)
		}
	}
}

// Numbers and structures of Windows, from winioctl.h as Microsoft documents it.
func TestWindowsBytes(t *testing.T) {
	// IOCTL_STORAGE_QUERY_PROPERTY is documented as 0x002d1400.
	if storageQueryProperty != 0x002d1400 {
		t.Errorf("%x", storageQueryProperty)
	}
	// RETRIEVAL_POINTERS_BUFFER: DWORD ExtentCount (padded to 8), LARGE_INTEGER StartingVcn, { NextVcn, Lcn }.
	for lcn, ok := range map[uint64]bool{0: true, 7777: true, ^uint64(0): false} {
		b := hexed(t, binary.LittleEndian, uint32(1), uint32(0), uint64(0), uint64(16), lcn)
		if got, known := retrievalAnswer(b); known != ok || ok && got != int64(lcn) {
			t.Errorf("%d: %d, %v", lcn, got, known)
		}
	}
	for _, b := range [][]byte{nil, make([]byte, 16), make([]byte, 32)} {
		if _, ok := retrievalAnswer(b); ok {
			t.Errorf("%x has a place", b)
		}
	}
	// DEVICE_SEEK_PENALTY_DESCRIPTOR: DWORD Version, Size, BOOLEAN IncursSeekPenalty.
	for b, want := range map[string]Answer{"": Unknown, "0c0000000c000000": Unknown, "0c0000000c00000000000000": No, "0c0000000c00000001000000": Yes} {
		raw, err := hex.DecodeString(b)
		fixture.Must(t, err)
		if got := seekPenalty(raw); got != want {
			t.Errorf("%s: %v", b, got)
		}
	}
	// STORAGE_DEVICE_DESCRIPTOR: DWORD Version, Size, BYTE DeviceType, DeviceTypeModifier, BOOLEAN RemovableMedia,
	// CommandQueueing, DWORD VendorIdOffset, ProductIdOffset, ProductRevisionOffset, SerialNumberOffset, BusType
	// (BusTypeUsb 7, BusTypeSata 11).
	device := func(bus uint32) []byte {
		return hexed(t, binary.LittleEndian, uint32(40), uint32(40), []byte{0, 0, 1, 0}, uint32(0), uint32(0), uint32(0), uint32(0), bus, uint32(0))
	}
	if onUSB(device(7)) != Yes || onUSB(device(11)) != No || onUSB(device(7)[:30]) != Unknown {
		t.Error("the bus")
	}
}

// What diskutil prints: keys and shapes as in outputs that people have made public; names are our own.
const macHead = `<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE plist PUBLIC "-//Apple//DTD PLIST 1.0//EN" "http://www.apple.com/DTDs/PropertyList-1.0.dtd">
<plist version="1.0"><dict>`

func macPlist(body string) []byte { return []byte(macHead + body + "</dict></plist>") }

func TestMacMedium(t *testing.T) {
	disks := map[string]string{
		// An APFS volume on USB: a volume of a container of a partition of a disk.
		"disk5s1": `<key>APFSPhysicalStores</key><array><dict><key>APFSPhysicalStore</key><string>disk4s2</string></dict></array>
			<key>BusProtocol</key><string>USB</string><key>DeviceIdentifier</key><string>disk5s1</string><key>ParentWholeDisk</key><string>disk5</string>`,
		"disk4s2": `<key>DeviceIdentifier</key><string>disk4s2</string><key>ParentWholeDisk</key><string>disk4</string><key>SolidState</key><false/>`,
		"disk4": `<key>BusProtocol</key><string>USB</string><key>DeviceIdentifier</key><string>disk4</string><key>ParentWholeDisk</key><string>disk4</string>
			<key>SolidState</key><false/><key>TotalSize</key><integer>64023257088</integer><key>VirtualOrPhysical</key><string>Physical</string>`,
		// HFS+ on a disk that is said to be solid state.
		"disk6s2": `<key>DeviceIdentifier</key><string>disk6s2</string><key>ParentWholeDisk</key><string>disk6</string>`,
		"disk6":   `<key>BusProtocol</key><string>USB</string><key>DeviceIdentifier</key><string>disk6</string><key>SolidState</key><true/>`,
		// A disk inside that rotates.
		"disk0s2": `<key>DeviceIdentifier</key><string>disk0s2</string><key>ParentWholeDisk</key><string>disk0</string>`,
		"disk0":   `<key>BusProtocol</key><string>SATA</string><key>DeviceIdentifier</key><string>disk0</string><key>SolidState</key><false/>`,
		// A fusion of two.
		"disk2s1": `<key>APFSPhysicalStores</key><array><dict><key>APFSPhysicalStore</key><string>disk6s2</string></dict>
			<dict><key>DeviceIdentifier</key><string>disk0s2</string></dict></array><key>DeviceIdentifier</key><string>disk2s1</string>`,
		// An image, which says nothing of the disk below.
		"disk9": `<key>BusProtocol</key><string>Disk Image</string><key>DeviceIdentifier</key><string>disk9</string><key>VirtualOrPhysical</key><string>Virtual</string>`,
		// It fails with status 0.
		"disk8": `<key>Error</key><true/><key>ErrorMessage</key><string>Could not find disk: disk8</string>`,
		// It leads round and round.
		"disk7s1": `<key>DeviceIdentifier</key><string>disk7s1</string><key>ParentWholeDisk</key><string>disk7s2</string>`,
		"disk7s2": `<key>DeviceIdentifier</key><string>disk7s2</string><key>ParentWholeDisk</key><string>disk7s1</string><key>BusProtocol</key><string>USB</string>`,
	}
	for volume, want := range map[string]Medium{
		"disk5s1": {Network: No, Rotates: Unknown, USB: Yes, Disk: "disk4", Volume: "disk5s1"},
		"disk6s2": {Network: No, Rotates: No, USB: Yes, Disk: "disk6", Volume: "disk6s2"},
		"disk0s2": {Network: No, Rotates: Yes, USB: No, Disk: "disk0", Volume: "disk0s2"},
		"disk2s1": {Network: No, Rotates: Yes, USB: Yes, Disk: "", Volume: "disk2s1"},
		"disk9":   {Network: No, Disk: "disk9", Volume: "disk9"},
		"disk8":   {Network: No, Volume: "disk8"},
		"disk7s1": {Network: No, USB: Yes, Disk: "disk7s2", Volume: "disk7s1"},
	} {
		got := macMedium(volume, func(name string) (macDisk, error) { return parseMacDisk(macPlist(disks[name])) })
		if got != want {
			t.Errorf("%s: %+v, want %+v", volume, got, want)
		}
	}
	if m := (Medium{USB: Yes}); !m.Seeks() {
		t.Error("a disk on USB of which nobody knows is taken for one that rotates")
	}
	if m := (Medium{USB: Yes, Rotates: No}); m.Seeks() {
		t.Error("one that does not rotate is not")
	}
	for _, broken := range []string{"", "not a list", "<plist>", macHead} {
		if d, err := parseMacDisk([]byte(broken)); err == nil {
			t.Errorf("%q: %+v", broken, d)
		}
	}
}

// What system_profiler prints until macOS 15 (SPUSBDataType) and from 26 on (SPUSBHostDataType), and ioreg.
func TestMacUSBSpeed(t *testing.T) {
	old := `{"SPUSBDataType":[{"_name":"USB31Bus","host_controller":"XHCI"},{"_items":[
		{"_name":"camera","device_speed":"high_speed","Media":[{"bsd_name":"disk8","size_in_bytes":3909091328,"volumes":[{"bsd_name":"disk8s1"}]}]},
		{"_name":"hub","device_speed":"high_speed","_items":[{"_name":"case","device_speed":"super_speed","Media":[{"bsd_name":"disk4"}]}]},
		{"_name":"case","device_speed":"super_speed_plus","Media":[{"bsd_name":"disk6"}]}],"_name":"USB31Bus"}]}`
	for disk, want := range map[string]int{"disk8": 480, "disk8s1": 480, "disk4": 480, "disk6": 10000, "disk9": 0, "": 0} {
		if got := macUSBSpeed([]byte(old), disk); got != want {
			t.Errorf("%s: %d, want %d", disk, got, want)
		}
	}
	now := `{"SPUSBHostDataType":[{"_name":"USB 3.1 Bus","_items":[{"_name":"case","USBDeviceKeyLinkSpeed":"5 Gb/s","USBKeyLocationID":"0x01100000",
		"Media":[{"bsd_name":"disk4"}]}]}],"SPUSBDataType":[]}`
	if got := macUSBSpeed([]byte(now), "disk4"); got != 5000 {
		t.Errorf("now: %d", got)
	}
	for _, broken := range []string{"", "{", "null", "[]", `{"a":[1,2,"x",{"bsd_name":4}]}`} {
		if got := macUSBSpeed([]byte(broken), "disk4"); got != 0 {
			t.Errorf("%q: %d", broken, got)
		}
	}
	registry := `<?xml version="1.0" encoding="UTF-8"?><plist version="1.0"><array><dict><key>IORegistryEntryName</key><string>hub</string>
		<key>UsbLinkSpeed</key><integer>480000000</integer><key>IORegistryEntryChildren</key><array><dict><key>UsbLinkSpeed</key><integer>5000000000</integer>
		<key>kUSBContainerID</key><data>AAEC</data><key>IORegistryEntryChildren</key><array><dict><key>BSD Name</key><string>disk4</string></dict></array></dict></array></dict>
		<dict><key>UsbLinkSpeed</key><integer>10000000000</integer><key>IORegistryEntryChildren</key><array><dict><key>BSD Name</key><string>disk6</string></dict></array></dict></array></plist>`
	for disk, want := range map[string]int{"disk4": 480, "disk6": 10000, "disk9": 0, "": 0} {
		if got := macRegistrySpeed([]byte(registry), disk); got != want {
			t.Errorf("registry, %s: %d, want %d", disk, got, want)
		}
	}
	if got := macRegistrySpeed([]byte("not a list <"), "disk4"); got != 0 {
		t.Errorf("broken: %d", got)
	}
	// USB 2.0 specification: 1.5, 12, 480 Mb/s; USB 3.2 specification: 5, 10, 20 Gb/s.
	for text, want := range map[string]int{
		"low_speed": 1, "full_speed": 12, "high_speed": 480, "super_speed": 5000, "super_speed_plus": 10000, "super_speed_plus_by_2": 20000,
		"480 Mb/s": 480, "Up to 480 Mb/s": 480, "5 Gb/s": 5000, "up_to_480_Mb_per_sec": 480, "2.5 Gb/s": 2500,
		"": 0, "fast": 0, "-5 Gb/s": 0, "5": 0, "1e300 Gb/s": 0, "NaN Gb/s": 0,
	} {
		if got := macSpeed(text); got != want {
			t.Errorf("%q: %d, want %d", text, got, want)
		}
	}
	// sysfs-bus-usb, speed.
	for text, want := range map[string]int{"1.5\n": 1, "12\n": 12, "480\n": 480, "5000\n": 5000, "20000\n": 20000, "unknown\n": 0, "": 0, "99999999999999\n": 0} {
		if got := usbSpeed(text); got != want {
			t.Errorf("%q: %d, want %d", text, got, want)
		}
	}
}

// Whatever a tool prints, reading it ends well.
func FuzzMacTools(f *testing.F) {
	f.Add([]byte(macHead + "<key>DeviceIdentifier</key><string>disk4</string></dict></plist>"))
	f.Add([]byte(`{"SPUSBDataType":[{"_items":[{"device_speed":"high_speed","Media":[{"bsd_name":"disk4"}]}]}]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		if d, err := parseMacDisk(b); err == nil && d.name == "" {
			t.Error("a disk without a name")
		}
		if macUSBSpeed(b, "disk4") < 0 || macRegistrySpeed(b, "disk4") < 0 {
			t.Error("below nothing")
		}
		_ = macMedium("disk4", func(string) (macDisk, error) { return parseMacDisk(b) })
	})
}

// Each sign has words of its own.
func TestTroubleWords(t *testing.T) {
	said := map[string]bool{}
	for _, sign := range []Sign{
		FileSystemErrors, ReadErrors, WriteErrors, FlushErrors, ChecksumErrors, LostWrites, TurnedReadOnly, HealthFailing, BadSectors, HealthWarning,
	} {
		one, two := Trouble{Sign: sign, Device: "sda1", Count: 1, Detail: "spare"}, Trouble{Sign: sign, Device: "sda1", Count: 2, Detail: "spare"}
		for _, text := range []string{one.String(), two.String()} {
			if strings.Contains(text, string(sign)) || !strings.Contains(text, "sda1") {
				t.Errorf("%s: %s", sign, text)
			}
			said[text] = true
		}
	}
	if len(said) != 17 { // three of the ten are no matter of number
		t.Errorf("%d texts: %v", len(said), said)
	}
}
