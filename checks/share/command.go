package share

import (
	"errors"
	"fmt"
	"net/netip"
	"runtime"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// A Platform is an operating system as far as its NFS client differs from others.
type Platform string

// The platforms whose clients are known, named as GOOS names them.
const (
	Linux   Platform = "linux"
	MacOS   Platform = "darwin"
	Windows Platform = "windows"
)

// ThisPlatform is the one that this program runs on.
func ThisPlatform() Platform { return Platform(runtime.GOOS) }

// A MountCommand is what a person types to mount a share in a way that a long copy can rely on.
type MountCommand struct {
	Line  string   // one command, quoted for the system's shell
	Notes []string // what to know besides, a line each
}

// String is the command with the notes before it as comments of a shell. It ends with a line break.
func (c MountCommand) String() string {
	var b strings.Builder
	for _, n := range c.Notes {
		b.WriteString("# " + n + "\n")
	}
	b.WriteString(c.Line + "\n")
	return b.String()
}

// bestTransfer is the most that Linux asks for in one call (nfs(5), rsize), and macOS from release 11 on.
const bestTransfer = 1 << 20

// ErrNoClient: nothing is known of the NFS client of a platform.
var ErrNoClient = errors.New("how to mount a share on this system is not known here; see its manual, and choose a hard mount over TCP")

// MountWith returns the command that mounts an export of a server on a folder. On Windows the folder is a drive
// such as Z:. Nothing is run, and nothing is looked up.
func MountWith(on Platform, server, export, folder string) (MountCommand, error) {
	if err := errors.Join(goodServer(server), goodExport(on, export), goodFolder(on, folder)); err != nil {
		return MountCommand{}, err
	}
	return mountLine(on, server+":"+export, folder, options(on, server, nil, ""))
}

// MountTemplate is the command with SERVER:/EXPORT in place of what is not known.
func MountTemplate(on Platform, folder string) (MountCommand, error) {
	if err := goodFolder(on, folder); err != nil {
		return MountCommand{}, err
	}
	return mountLine(on, "SERVER:/EXPORT", folder, options(on, "SERVER", nil, ""))
}

// MountAgain returns the commands that unmount a share and mount it again with those of its options in force that
// have nothing to do with how safe it is, and the others set right.
func MountAgain(on Platform, m *Mount) ([]string, error) {
	from := m.From
	if on == Windows { // \\server\export
		server, export, ok := strings.Cut(strings.TrimPrefix(from, `\\`), `\`)
		if !ok {
			return nil, fmt.Errorf("%q names no server and export", from)
		}
		from = server + ":/" + strings.ReplaceAll(export, `\`, "/")
	}
	server, export, err := SplitExport(from)
	if err != nil {
		return nil, err
	}
	folder := m.Point
	if on == Windows {
		folder = strings.TrimSuffix(folder, `\`)
	}
	if err := errors.Join(goodServer(server), goodExport(on, export), goodFolder(on, folder)); err != nil {
		return nil, err
	}
	c, err := mountLine(on, server+":"+export, folder, options(on, server, m.Options, m.version()))
	if err != nil {
		return nil, err
	}
	unmount := "sudo umount " + ShellQuote(folder)
	if on == Windows {
		unmount = "umount " + folder
	}
	return []string{unmount, c.Line}, nil
}

// SplitExport cuts SERVER:/EXPORT; a server that is an IPv6 address goes in brackets.
func SplitExport(from string) (server, export string, err error) {
	if strings.HasPrefix(from, "[") {
		if i := strings.Index(from, "]:"); i > 0 {
			return from[:i+1], from[i+2:], nil
		}
	} else if i := strings.Index(from, ":/"); i > 0 && !strings.Contains(from[:i], ":") {
		return from[:i], from[i+1:], nil
	}
	return "", "", fmt.Errorf("%q is not SERVER:/EXPORT: the appliance's name or address, a colon, and the path that it exports; an IPv6 address goes in brackets", from)
}

func goodServer(server string) error {
	if in, ok := strings.CutPrefix(server, "["); ok {
		if addr, err := netip.ParseAddr(strings.TrimSuffix(in, "]")); err == nil && strings.HasSuffix(in, "]") && addr.Is6() && goodZone(addr.Zone()) {
			return nil
		}
		return fmt.Errorf("the server %q is not an IPv6 address in brackets", server)
	}
	good := server != "" && len(server) <= 253 // RFC 1035, 2.3.4
	for i, r := range server {
		good = good && r != utf8.RuneError && (unicode.IsLetter(r) || unicode.IsDigit(r) || i > 0 && strings.ContainsRune("._-", r))
	}
	if !good {
		return fmt.Errorf("the server %q is neither a name nor an address", server)
	}
	return nil
}

func goodZone(zone string) bool {
	return strings.Trim(zone, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._-") == ""
}

func goodExport(on Platform, export string) error {
	switch {
	case !strings.HasPrefix(export, "/"):
		return fmt.Errorf("the export %q must begin with a slash", export)
	case !typeable(export):
		return fmt.Errorf("the export %q contains a character that cannot be typed", export)
	case on == MacOS && strings.Contains(export, ","):
		// mount_nfs.c, parse_fs_locations
		return fmt.Errorf("the export %q contains a comma: a Mac takes what follows for another server", export)
	case on == Windows && strings.ContainsAny(export, `"%\`):
		return fmt.Errorf("the export %q contains a character that Windows cannot take on a command line", export)
	}
	return nil
}

func goodFolder(on Platform, folder string) error {
	if on == Windows {
		if folder == "*" || len(folder) == 2 && folder[1] == ':' && 'A' <= folder[0]&^0x20 && folder[0]&^0x20 <= 'Z' {
			return nil
		}
		return fmt.Errorf("the folder %q must be a drive that is free, such as Z: or Y: (a letter and a colon)", folder)
	}
	switch {
	case !strings.HasPrefix(folder, "/"):
		return fmt.Errorf("the folder %q must be a whole path that begins with a slash", folder)
	case strings.Trim(folder, "/") == "":
		return errors.New("the share must not be mounted over the whole system: choose a folder of its own")
	case slices.Contains(strings.Split(folder, "/"), ".."):
		return fmt.Errorf("the folder %q must not climb with \"..\" in it", folder)
	case !typeable(folder):
		return fmt.Errorf("the folder %q contains a character that cannot be typed", folder)
	}
	return nil
}

// typeable says that text can stand in one line of a terminal and shows what it is.
func typeable(text string) bool {
	return utf8.ValidString(text) && !strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsPrint(r) && r != ' ' })
}

// ShellQuote quotes a word for a POSIX shell (POSIX, Shell Command Language, 2.2.2), where it needs that.
func ShellQuote(word string) string {
	const plain = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_@%+=:,./-"
	if word != "" && strings.Trim(word, plain) == "" {
		return word
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}

// carried are options that say how the server is reached and by whom, or what this computer lets files do: they
// stay as they are when a share is mounted again.
var carried = map[Platform][]string{
	Linux: {"sec", "xprtsec", "port", "mountport", "mountproto", "nconnect", "noresvport", "nolock", "nosuid", "nodev", "noexec"},
	MacOS: {
		"sec", "realm", "principal", "port", "mountport", "mntudp", "resvport", "namedattr", "locallocks", "nolock", "nfc",
		"nosuid", "nodev", "noexec", "nobrowse", "noowners",
	},
	Windows: {"sec", "nolock", "fileaccess", "lang", "casesensitive"},
}

// options are those of a mount that a copy can rely on. inForce are those of a mount that is there, and version its
// version of NFS; without any they are for a new one.
func options(on Platform, server string, inForce []string, version string) []string {
	var keep []string
	for _, o := range inForce {
		name, value, _ := strings.Cut(o, "=")
		if !slices.Contains(carried[on], name) || name == "port" && (value == "0" || value == "2049") || strings.ContainsAny(o, " ,'\"") {
			continue
		}
		keep = append(keep, o)
	}
	sizes := fmt.Sprintf("rsize=%d,wsize=%[1]d", bestTransfer)
	switch on {
	case Linux:
		// Without a version the highest that both sides have is chosen (nfs(5), nfsvers).
		o := []string{"hard", "proto=tcp"}
		if strings.HasPrefix(server, "[") {
			o[1] = "proto=tcp6" // RFC 5665
		}
		if version != "" && version[0] >= '3' {
			o = append(o, "vers="+version)
		}
		return append(append(o, sizes), keep...)
	case MacOS:
		// mount_nfs(8): without a version 3 is tried, then 2; 32,768 bytes are asked for; without resvport
		// many servers refuse (exports(5), secure); without intr nothing can stop a call that waits.
		if len(inForce) == 0 {
			keep = []string{"resvport", "nosuid", "nodev"}
		}
		if version == "" || version[0] < '3' {
			version = "3"
		}
		return append([]string{"vers=" + version, "tcp", "hard", "intr", sizes}, keep...)
	case Windows:
		return append([]string{"mtype=hard", "timeout=60"}, keep...)
	}
	return nil
}

func mountLine(on Platform, from, folder string, opts []string) (MountCommand, error) {
	list := strings.Join(opts, ",")
	unix := MountCommand{
		Line:  fmt.Sprintf("sudo mount -t nfs -o %s %s %s", list, ShellQuote(from), ShellQuote(folder)),
		Notes: []string{"The folder must exist: sudo mkdir -p " + ShellQuote(folder)},
	}
	switch on {
	case Linux:
		unix.Notes = append(unix.Notes, "mount.nfs comes with the package nfs-common or nfs-utils.",
			"The highest version that both sides have is chosen, up to 4.2.")
		return unix, nil
	case MacOS:
		unix.Notes = append(unix.Notes,
			"If the appliance offers version 4 only, write vers=4.1 or vers=4 for vers=3; this system has no 4.2.",
			"macOS 10.15 takes sizes of 131072 at most, 10.14 and before 65536: write that for 1048576.")
		return unix, nil
	case Windows:
		server, export, err := SplitExport(from)
		if err != nil {
			return MountCommand{}, err
		}
		server = strings.Trim(server, "[]")
		return MountCommand{
			Line: fmt.Sprintf(`mount -o %s "\\%s\%s" %s`, list, server, strings.ReplaceAll(strings.TrimPrefix(export, "/"), "/", `\`), folder),
			Notes: []string{
				"The client for NFS is an optional feature of Windows. It has versions 2 and 3, and mounts soft unless told otherwise.",
				"Type this in a command prompt, not in PowerShell, where mount is another command.",
			},
		}, nil
	}
	return MountCommand{}, ErrNoClient
}
