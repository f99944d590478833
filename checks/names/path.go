package names

import "strings"

// OwnPrefix begins the name of everything that Loadline itself leaves on a disk or a share: journals
// of renames, names on their way to another, trial folders.
const OwnPrefix = ".loadline-"

// Own reports whether a name is one that Loadline itself gave.
func Own(name string) bool { return strings.HasPrefix(name, OwnPrefix) }

// Join joins a folder and a name as they are; the folder is "" where it is the source itself.
func Join(folder, name string) string {
	if folder == "" {
		return name
	}
	return folder + "/" + name
}

// Split parts a relative path into its folder, "" where that is the source itself, and its last part.
func Split(path string) (folder, name string) {
	if i := strings.LastIndexByte(path, '/'); i >= 0 {
		return path[:i], path[i+1:]
	}
	return "", path
}

// IsASCII reports whether a text has ASCII characters only.
func IsASCII[T string | []byte](s T) bool {
	for i := range len(s) {
		if s[i] >= 0x80 {
			return false
		}
	}
	return true
}

// Companion begins the name of the AppleDouble companion of the file whose name follows (RFC 1740, from
// memory).
const Companion = "._"

// Stem is what ties the files of one folder: that of "clip.mov", of its companion "._clip.mov" and of its
// sidecar "clip.mov.xmp" is "clip". Of an ending only one is taken off, unless what is left is a file of
// the folder itself. Beside reports whether a name is one.
func Stem(name string, beside func(name string) bool) string {
	if rest, ok := strings.CutPrefix(name, Companion); ok && beside(rest) {
		name = rest
	}
	stem := withoutEnding(name)
	for stem != name && beside(stem) {
		name, stem = stem, withoutEnding(stem)
	}
	return stem
}

func withoutEnding(name string) string {
	if dot := strings.LastIndexByte(name, '.'); dot > 0 {
		return name[:dot]
	}
	return name
}
