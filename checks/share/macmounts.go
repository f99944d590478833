package share

import (
	"bufio"
	"io"
	"strings"
)

// macFlags are flags of a mount with the names that nfsstat and mount print of them: bsd/sys/mount.h of xnu
// 11417.101.15 for the numbers, nfsstat.c of NFS-339 for the names, those of macOS turned into those of Linux.
var macFlags = []struct {
	flag uint32
	name string
}{
	{0x00000001, "ro"}, // MNT_RDONLY
	{0x00000002, "sync"},
	{0x00000004, "noexec"},
	{0x00000008, "nosuid"},
	{0x00000010, "nodev"},
	{0x00000020, "union"},
	{0x00000040, "async"},
	{0x00000080, "protect"},
	{0x00000400, "quarantine"},
	{0x00001000, "local"},
	{0x00002000, "quota"},
	{0x00100000, "nobrowse"},
	{0x00200000, "noowners"},
	{0x00400000, "automounted"},
	{0x00800000, "journaled"},
	{0x01000000, "nouserxattr"},
	{0x02000000, "defwrite"},
	{0x10000000, "noatime"},
	{0x40000000, "snapshot"},
}

// macOptions names what the flags of a mount say (statfs(2), f_flags).
func macOptions(flags uint32) []string {
	var out []string
	for _, f := range macFlags {
		if flags&f.flag != 0 {
			out = append(out, f.name)
		}
	}
	if flags&1 == 0 {
		out = append(out, "rw")
	}
	return out
}

// dataVolume is where the volume of a Mac is mounted that holds what is not the system's own.
const dataVolume = "/System/Volumes/Data"

// usualFirmlinks is /usr/share/firmlinks as macOS 10.15.1 has it: the folder of the system's volume, and the one on
// the data volume that it leads to (superuser.com, question 1490834).
const usualFirmlinks = `/AppleInternal	AppleInternal
/Applications	Applications
/Library	Library
/System/Library/Caches	System/Library/Caches
/System/Library/Assets	System/Library/Assets
/System/Library/PreinstalledAssets	System/Library/PreinstalledAssets
/System/Library/AssetsV2	System/Library/AssetsV2
/System/Library/PreinstalledAssetsV2	System/Library/PreinstalledAssetsV2
/System/Library/CoreServices/CoreTypes.bundle/Contents/Library	System/Library/CoreServices/CoreTypes.bundle/Contents/Library
/System/Library/Speech	System/Library/Speech
/Users	Users
/Volumes	Volumes
/cores	cores
/opt	opt
/private	private
/usr/local	usr/local
/usr/libexec/cups	usr/libexec/cups
/usr/share/snmp	usr/share/snmp
`

// A firmlink joins a folder of the system's volume with one of the data volume: it has two paths.
type firmlink struct{ at, data string }

// parseFirmlinks reads a table of firmlinks; lines of another form are passed over.
func parseFirmlinks(r io.Reader) []firmlink {
	var links []firmlink
	lines := bufio.NewScanner(r)
	for lines.Scan() {
		at, data, ok := strings.Cut(strings.TrimSpace(lines.Text()), "\t")
		data = strings.Trim(strings.TrimSpace(data), "/")
		if ok && strings.HasPrefix(at, "/") && data != "" {
			links = append(links, firmlink{strings.TrimSpace(at), dataVolume + "/" + data})
		}
	}
	return links
}

// withoutFirmlink returns the path by which people know a folder that the kernel may know by its place on the data
// volume.
func withoutFirmlink(links []firmlink, path string) string {
	for _, l := range links {
		if rest, ok := strings.CutPrefix(path, l.data); ok && (rest == "" || rest[0] == '/') {
			return l.at + rest
		}
	}
	return path
}
