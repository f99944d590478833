package names

import "strings"

// Marks note what the names in one folder say of the layouts of camera cards, discs and packages.
type Marks uint16

const (
	markDCF       Marks = 1 << iota // a folder like 100ABCDE
	markStream                      // STREAM
	markClipInfo                    // CLIPINF
	markPlaylist                    // PLAYLIST
	markClip                        // CLIP
	markVideo                       // VIDEO
	markAudio                       // AUDIO
	markMediaFile                   // MEDIAPRO.XML
	markDVD                         // VIDEO_TS.IFO
	markAssetMap                    // ASSETMAP or ASSETMAP.xml
	markBag                         // bagit.txt
	markData                        // data
)

// See notes one entry of the folder.
func (m *Marks) See(name string, folder bool) {
	if folder {
		if dcfFolder(name) {
			*m |= markDCF
		}
		switch strings.ToUpper(name) {
		case "STREAM":
			*m |= markStream
		case "CLIPINF":
			*m |= markClipInfo
		case "PLAYLIST":
			*m |= markPlaylist
		case "CLIP":
			*m |= markClip
		case "VIDEO":
			*m |= markVideo
		case "AUDIO":
			*m |= markAudio
		case "DATA":
			*m |= markData
		}
		return
	}
	switch strings.ToUpper(name) {
	case "MEDIAPRO.XML":
		*m |= markMediaFile
	case "VIDEO_TS.IFO":
		*m |= markDVD
	case "ASSETMAP", "ASSETMAP.XML":
		*m |= markAssetMap
	case "BAGIT.TXT":
		*m |= markBag
	}
}

// dcfFolder knows the folders of DCF: three digits from 100 to 999, then five of letters, digits
// and underscore (JEITA CP-3461, as camera manuals quote it).
func dcfFolder(name string) bool {
	return len(name) == 8 && name[0] >= '1' && name[0] <= '9' && strings.Trim(name[1:3], "0123456789") == "" &&
		strings.Trim(strings.ToUpper(name[3:]), "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_") == ""
}

// A Layout is a structure of folders whose inner names are fixed.
type Layout struct {
	Title    string // what it is, for people: "a camera card in the DCF layout"
	Standard string // what fixes its names
	// OwnName is set where the layout fixes the name of its topmost folder too. Where a layout has
	// several such names, one in capitals is taken for one of them.
	OwnName bool
}

// LayoutOf knows the layouts by the name of a folder and what stands in it.
func LayoutOf(name string, m Marks) (l Layout, ok bool) {
	has := func(w Marks) bool { return m&w == w }
	switch is := strings.ToUpper(name); {
	case is == "DCIM" && has(markDCF):
		return Layout{"a camera card in the DCF layout", "JEITA CP-3461, as camera manuals quote it", true}, true
	case is == "BDMV" && has(markStream) && m&(markClipInfo|markPlaylist) != 0:
		return Layout{"a camera card or disc in the BDMV layout of AVCHD", "AVCHD format specification, from memory", true}, true
	case is == "CONTENTS" && has(markClip) && m&(markVideo|markAudio) != 0:
		return Layout{"a camera card with CONTENTS/CLIP and its essence folders", "common practice, no source", true}, true
	case has(markMediaFile) && has(markClip):
		return Layout{"a camera card with CLIP and MEDIAPRO.XML", "common practice, no source", is == name}, true
	case is == "VIDEO_TS" && has(markDVD):
		return Layout{"a video disc in the DVD-Video layout", "DVD-Video specification, from memory", true}, true
	case has(markAssetMap):
		return Layout{"a package with an asset map", "SMPTE ST 429-9, from memory", false}, true
	case has(markBag) && has(markData):
		return Layout{"a bag with a manifest", "RFC 8493", false}, true
	}
	return Layout{}, false
}

// AboveCard reports whether a folder of this name, which holds a card's structure, belongs to it:
// players look for the whole path (AVCHD format specification, from memory).
func AboveCard(name string) bool {
	is := strings.ToUpper(name)
	return is == "PRIVATE" || is == "AVCHD"
}

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
