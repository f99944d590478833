package names

import "strings"

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
