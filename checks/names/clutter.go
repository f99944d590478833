package names

import "strings"

// clutter are the names that desktops and operating systems give to what they leave on a disk, each as
// its system writes it (common practice, no source). It is the one table of them.
var clutter = map[string]bool{
	".DS_Store": true, ".Spotlight-V100": true, ".Trashes": true, ".fseventsd": true, ".TemporaryItems": true,
	".DocumentRevisions-V100": true, ".apdisk": true, ".VolumeIcon.icns": true, "Icon\r": true,
	"Thumbs.db": true, "desktop.ini": true, "$RECYCLE.BIN": true, "System Volume Information": true, "lost+found": true,
}

// clutterFirst tells for a first byte whether any name of clutter begins with it, so that most names
// are decided by one look.
var clutterFirst = func() (first [256]bool) {
	for name := range clutter {
		first[name[0]] = true
	}
	return first
}()

// Clutter reports whether a name is one that a desktop or an operating system leaves on a disk.
func Clutter(name string) bool {
	if name == "" || !clutterFirst[name[0]] {
		return false
	}
	if clutter[name] || strings.HasPrefix(name, ".com.apple.timemachine.") {
		return true
	}
	uid, ok := strings.CutPrefix(name, ".Trash-")
	return ok && uid != "" && strings.Trim(uid, "0123456789") == ""
}

// FinderIcon is the one name of clutter that breaks other rules by what it is: "Icon" and a carriage
// return. They do not speak of it.
const FinderIcon = "Icon\r"

// ClutterAbove returns the topmost part of a folder's path that is clutter, "" if none is.
func ClutterAbove(path string) string { return topmost(path, Clutter) }

// topmost returns a path up to its first part of which something holds, "" if it holds of none.
func topmost(path string, holds func(name string) bool) string {
	for at := 0; at < len(path); {
		end := strings.IndexByte(path[at:], '/')
		if end < 0 {
			end = len(path) - at
		}
		if holds(path[at : at+end]) {
			return path[:at+end]
		}
		at += end + 1
	}
	return ""
}

// Unfinished says by what mark a name tells that its file was not finished, "" if by none (common
// practice, no source).
func Unfinished(name string) string {
	if strings.HasPrefix(name, "~$") {
		return "begins with ~$: a program has it open, or crashed"
	}
	dot := strings.LastIndexByte(name, '.')
	if dot < 0 {
		return ""
	}
	switch end := name[dot:]; end {
	case ".part", ".partial", ".crdownload", ".tmp":
		return "ends in " + end
	}
	// .NAME.XXXXXX: a hidden name with the six letters and digits of mkstemp(3).
	if end := name[dot+1:]; name[0] == '.' && dot > 1 && len(end) == 6 {
		for i := range len(end) {
			c := end[i] | 0x20
			if (c < 'a' || c > 'z') && (end[i] < '0' || end[i] > '9') {
				return ""
			}
		}
		return "hidden, with six random letters at its end: a copy was cut off"
	}
	return ""
}
