package names

import "strings"

// bundleEndings are those by which a desktop shows a folder as one file. What is in such a folder is
// known by its name to the program that made it. (Common practice, no source: desktops learn the
// endings from the programs that are installed, so no list is complete.)
var bundleEndings = map[string]bool{
	// Libraries and projects of editing, photo and music programs.
	"aplibrary": true, "band": true, "dvdproj": true, "fcarch": true, "fcpbundle": true, "fcpcache": true,
	"imovielibrary": true, "imovieproject": true, "imovietrailer": true, "logicx": true,
	"migratedphotolibrary": true, "musiclibrary": true, "photolibrary": true, "photoslibrary": true,
	"rcproject": true, "theater": true, "tvlibrary": true,
	// Documents.
	"graffle": true, "key": true, "numbers": true, "pages": true, "playground": true, "rtfd": true,
	"scptd": true, "workflow": true, "xcodeproj": true,
	// Programs and their parts.
	"app": true, "appex": true, "bundle": true, "component": true, "dsym": true, "framework": true, "kext": true,
	"mdimporter": true, "mpkg": true, "pkg": true, "plugin": true, "prefpane": true, "qlgenerator": true,
	"saver": true, "vst": true, "vst3": true, "wdgt": true, "xpc": true,
	// Disk images and downloads in pieces.
	"backupbundle": true, "download": true, "sparsebundle": true,
}

// BundleName reports whether a folder of this name is one that a desktop shows as one file: a
// library, a program, a document in pieces. Capital and small letters count as one; a name that is
// nothing but an ending is none.
func BundleName(name string) bool {
	dot := strings.LastIndexByte(name, '.')
	return dot > 0 && bundleEndings[strings.ToLower(name[dot+1:])]
}

// BundleAbove returns the topmost part of a folder's path that is a bundle, "" if none is.
func BundleAbove(path string) string { return topmost(path, BundleName) }
