package share

import (
	"io"
	"strconv"
	"strings"
)

// ParseNFSStat reads what `nfsstat -m` prints, on Linux (a "Flags:" line a mount) or on macOS (a
// block of "NFS parameters", those in force under "Current mount parameters", and "Status flags": nfsstat.c,
// print_mountargs and print_mountinfo, of NFS-339). Options that macOS writes in a way of its own come back as
// Linux writes them: tcp as proto=tcp, vers=3.0 as vers=3.
func ParseNFSStat(r io.Reader) ([]Mount, error) {
	var rows []Mount
	asked := false // below "Original mount options": what was asked for is not what is in force
	err := eachLine(r, func(line string) error {
		text := strings.TrimSpace(line)
		if line[0] != ' ' && line[0] != '\t' {
			point, from, ok := cutLast(text, " from ")
			if ok && strings.HasPrefix(point, "/") {
				rows = append(rows, Mount{Point: point, From: from, Root: "/", Type: "nfs"})
			}
			asked = false
			return nil
		}
		if len(rows) == 0 {
			return nil
		}
		m := &rows[len(rows)-1]
		switch {
		case strings.HasPrefix(text, "-- "):
			asked = strings.Contains(text, "Original")
		case strings.HasPrefix(text, "Status flags:"):
			// "0x3,dead,not responding": the names stand after the number, and after a comma each
			_, names, _ := strings.Cut(text[len("Status flags:"):], ",")
			m.Status = splitOptions(names)
		case asked:
		case strings.HasPrefix(text, "Flags:"):
			m.Options = splitOptions(strings.TrimSpace(text[len("Flags:"):]))
		case strings.HasPrefix(text, "NFS parameters:"):
			list := splitOptions(strings.TrimSpace(text[len("NFS parameters:"):]))
			m.Options = addOptions(m.Options, plainOptions(list))
		case strings.HasPrefix(text, "General mount flags:"):
			// "0x4000018 nodev,nosuid": the names stand after the number
			if _, names, ok := strings.Cut(strings.TrimSpace(text[len("General mount flags:"):]), " "); ok {
				m.Options = addOptions(m.Options, plainOptions(splitOptions(names)))
			}
		}
		return nil
	})
	for i := range rows {
		if strings.HasPrefix(rows[i].version(), "4") {
			rows[i].Type = "nfs4"
		}
	}
	return rows, err
}

// plainOptions writes options of macOS as Linux does.
func plainOptions(list []string) []string {
	out := make([]string, 0, len(list))
	for _, o := range list {
		switch name, value, _ := strings.Cut(o, "="); {
		case o == "tcp", o == "tcp4", o == "tcp6", o == "udp", o == "udp4", o == "udp6":
			o = "proto=" + strings.TrimSuffix(o, "4")
		case o == "rdonly", o == "read-only":
			o = "ro"
		case o == "synchronous":
			o = "sync"
		case o == "asynchronous":
			o = "async"
		case o == "nolocks", o == "nolockd", o == "nonlm":
			o = "nolock"
		case (name == "vers" || name == "nfsvers") && strings.HasSuffix(value, ".0"):
			o = "vers=" + strings.TrimSuffix(value, ".0")
		case name == "nfsvers":
			o = "vers=" + value
		}
		out = append(out, o)
	}
	return out
}

// ParseWindowsMount reads the table that `mount` of the Windows NFS client prints: drive, export
// and properties, which go on over further lines. Options come back as Linux writes them;
// timeouts, which the client counts in seconds, as timeo in tenths of a second.
func ParseWindowsMount(r io.Reader) ([]Mount, error) {
	var rows []Mount
	err := eachLine(r, func(line string) error {
		fields := strings.Fields(line)
		if len(fields[0]) == 2 && fields[0][1] == ':' && len(fields) >= 2 && strings.HasPrefix(fields[1], `\\`) {
			// \\host\export with spaces in it ends where two spaces or the properties begin.
			rest := strings.TrimSpace(strings.TrimSpace(line)[2:])
			from, props, _ := strings.Cut(rest, "  ")
			rows = append(rows, Mount{
				From: strings.TrimSpace(from), Point: strings.ToUpper(fields[0]) + `\`, Root: "/", Type: "nfs",
				Options: windowsOptions(props),
			})
			return nil
		}
		if len(rows) > 0 && (line[0] == ' ' || line[0] == '\t') {
			m := &rows[len(rows)-1]
			m.Options = addOptions(m.Options, windowsOptions(line))
		}
		return nil
	})
	return rows, err
}

func windowsOptions(text string) []string {
	var out []string
	for o := range strings.SplitSeq(text, ",") {
		name, value, ok := strings.Cut(strings.TrimSpace(o), "=")
		name, value = strings.ToLower(strings.TrimSpace(name)), strings.TrimSpace(value)
		switch {
		case !ok || name == "":
			continue
		case name == "mount": // mount=soft
			if value != "" {
				out = append(out, strings.ToLower(value))
			}
		case name == "timeout":
			if s, err := strconv.ParseFloat(value, 64); err == nil && s >= 0 && s < 1e9 {
				out = append(out, "timeo="+strconv.FormatInt(int64(s*10+0.5), 10))
			}
		case name == "locking" && value == "no":
			out = append(out, "nolock")
		case name == "readonly" && value == "yes":
			out = append(out, "ro")
		default:
			out = append(out, name+"="+value)
		}
	}
	return out
}

// cutLast cuts around the last separator.
func cutLast(s, sep string) (before, after string, ok bool) {
	if i := strings.LastIndex(s, sep); i >= 0 {
		return s[:i], s[i+len(sep):], true
	}
	return s, "", false
}
