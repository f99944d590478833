package disk

import (
	"errors"
	"fmt"
	"path/filepath"
	"runtime"
	"strings"
)

// Creatable says by an error why this system would not make a file or folder of the last name of a path.
func Creatable(path string) error { return creatable(runtime.GOOS, filepath.Base(path)) }

// creatable says by an error why a system would not make a file of this name, but something else
// without a word: on Windows a device, a stream of another file, or a file of another name
// (learn.microsoft.com, "Naming Files, Paths, and Namespaces").
func creatable(system, name string) error {
	if system != "windows" {
		return nil
	}
	switch {
	case windowsDevice(name):
		return fmt.Errorf("%s is the name of a device on Windows; choose another name", name)
	case strings.ContainsRune(name, ':'):
		return errors.New("a name with a colon is a stream of another file on Windows; choose another name")
	case strings.HasSuffix(name, " ") || strings.HasSuffix(name, "."):
		return errors.New("a name that ends in a space or a dot loses it on Windows; choose another name")
	}
	return nil
}

// windowsDevice reports whether a name, its extension aside, is one of the devices of Windows. The
// superscript digits ¹, ² and ³ count as digits there.
func windowsDevice(name string) bool {
	stem, _, _ := strings.Cut(name, ".")
	stem, _, _ = strings.Cut(stem, ":")
	stem = strings.ToUpper(strings.TrimRight(stem, " "))
	switch stem {
	case "CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$":
		return true
	}
	port, number := "", ""
	if strings.HasPrefix(stem, "COM") || strings.HasPrefix(stem, "LPT") {
		port, number = stem[:3], stem[3:]
	}
	switch number {
	case "1", "2", "3", "4", "5", "6", "7", "8", "9", "0", "¹", "²", "³":
		return port != ""
	}
	return false
}

// longPath gives a full path of Windows the prefix without which it may have at most 259 units.
func longPath(full string) string {
	switch {
	case strings.HasPrefix(full, `\\?\`) || strings.HasPrefix(full, `\\.\`):
		return full
	case strings.HasPrefix(full, `\\`):
		return `\\?\UNC` + full[1:]
	}
	return `\\?\` + full
}
