package before

import (
	"context"
	"strings"
	"sync/atomic"

	"loadline/checks"
	"loadline/checks/share"
	"loadline/checks/walk"
)

// What an attribute says, and so what is lost with it.
type attributeClass uint8

const (
	ofTheUser  attributeClass = iota // somebody's tags, ratings, notes, or content
	ofASystem                        // put there by a system for itself
	ofAccess                         // an access list
	ofTheClass                       // kept by the kernel and shown to nobody else
)

// systemAttributes are attributes of macOS that it puts on files by itself, without the flags that may follow a "#":
// what they say is of that Mac, not of the footage. Names as seen in listings of macOS 10.15 to 15 (common practice, no
// source); decmpfs: bsd/sys/decmpfs.h of xnu.
var systemAttributes = map[string]bool{
	"com.apple.quarantine":                            true,
	"com.apple.provenance":                            true,
	"com.apple.macl":                                  true,
	"com.apple.lastuseddate":                          true,
	"com.apple.metadata:kMDItemWhereFroms":            true,
	"com.apple.metadata:kMDItemDownloadedDate":        true,
	"com.apple.TextEncoding":                          true,
	"com.apple.decmpfs":                               true,
	"com.apple.diskimages.recentcksum":                true,
	"com.apple.diskimages.fsck":                       true,
	"com.apple.rootless":                              true,
	"com.apple.genstore.origin":                       true,
	"com.apple.genstore.info":                         true,
	"com.apple.metadata:com_apple_backup_excludeItem": true,
}

// classify tells what an attribute says by its name. A disk of a Mac that Linux has mounted shows its attributes
// behind "osx." (kernel documentation, hfsplus); what Linux itself took over from a Mac stands behind "user.".
func classify(name string) attributeClass {
	if name == "system.posix_acl_access" || name == "system.posix_acl_default" {
		return ofAccess // acl(5)
	}
	class, rest, dotted := strings.Cut(name, ".")
	if dotted && (class == "security" || class == "system" || class == "trusted") {
		return ofTheClass // xattr(7)
	}
	if class == "osx" || class == "user" {
		name = rest
	}
	name, _, _ = strings.Cut(name, "#")
	switch {
	case name == "com.apple.system.Security":
		return ofAccess // bsd/sys/kauth.h of xnu, KAUTH_FILESEC_XATTR
	case systemAttributes[name], strings.HasPrefix(name, "com.apple.system."), strings.HasPrefix(name, "com.apple.cs."):
		return ofASystem
	}
	return ofTheUser
}

// An attribute is one extended attribute with the length of its value, bytes.
type attribute struct {
	name string
	size int64
}

// The resource fork and the Finder's own information have places of their own in an AppleDouble file.
const (
	resourceFork = "com.apple.ResourceFork"
	finderInfo   = "com.apple.FinderInfo"
)

// appleDoubleSize is how long the ._ file is in which a Mac keeps attributes on a file system that has none (bsd/vfs/vfs_xattr.c of
// xnu 11417.101.15: 4,096 bytes that hold a header of 120 and an empty resource fork of 286; attributes take what is
// between, and more in steps of 4,096; a resource fork stands behind).
func appleDoubleSize(list []attribute) int64 {
	const page, header, emptyFork = 4096, 120, 286
	need, fork := int64(0), int64(emptyFork)
	for _, a := range list {
		switch a.name {
		case resourceFork:
			fork = max(fork, a.size)
		case finderInfo:
		default:
			// ATTR_ENTRY_LENGTH: 11 bytes and the name with its NUL, rounded up to four
			need += (11+int64(len(a.name))+1+3)&^3 + a.size
		}
	}
	size := int64(page - emptyFork)
	if over := need - (size - header); over > 0 {
		size += (over + page - 1) / page * page
	}
	return size + fork
}

// AppleDoubles are the ._ files that a Mac will write on the share for what the files of the source have of attributes,
// if the copy command keeps them.
type AppleDoubles struct {
	Files int64
	Bytes int64
}

// doubles counts them while the source is walked.
type doubles struct {
	wanted bool // the copy is made on a Mac, to a share that keeps no attributes
	files  atomic.Int64
	bytes  atomic.Int64
}

// writesDoubles reports whether a Mac keeps attributes in ._ files there: on NFS always, but on version 4 with named
// attributes (mount_nfs(8) of macOS, namedattr; bsd/vfs/vfs_xattr.c of xnu).
func writesDoubles(f *share.Facts) bool {
	return f.On() == share.MacOS && f.NFS && !(options{&f.Mount}).has("namedattr")
}

// add counts the ._ file of one entry. root and path tell where its attributes are.
func (s *doubles) add(root, path string, list []string) {
	if !s.wanted {
		return
	}
	var attrs []attribute
	for _, name := range list {
		switch classify(name) {
		case ofAccess, ofTheClass:
		case ofASystem: // some ten bytes
			attrs = append(attrs, attribute{name, 64})
		default:
			attrs = append(attrs, attribute{strings.TrimPrefix(name, "osx."), walk.XattrSize(root+"/"+path, name)})
		}
	}
	if len(attrs) > 0 {
		s.files.Add(1)
		s.bytes.Add(appleDoubleSize(attrs))
	}
}

// foretold is what a Mac will write, for the checks of space and load.
func foretold(ctx context.Context, pass *checks.Pass) (AppleDoubles, error) {
	if m := pass.Earlier(metadata); m != nil {
		if s, ok := m.State.(*metadataState); ok {
			return s.foretell(ctx, m)
		}
	}
	return AppleDoubles{}, nil
}

// foretell reckons from those of the source's entries that were asked. Of a disk of which only a sample was asked the
// others are taken to be like it.
func (s *metadataState) foretell(ctx context.Context, pass *checks.Pass) (AppleDoubles, error) {
	if !s.doubles.wanted {
		return AppleDoubles{}, nil
	}
	if err := s.askRest(ctx, pass); err != nil {
		return AppleDoubles{}, err
	}
	d := AppleDoubles{s.doubles.files.Load(), s.doubles.bytes.Load()}
	if asked, left := s.asked.Load(), s.unasked(); left > 0 && asked > 0 {
		more := 1 + float64(left)/float64(asked)
		d.Files, d.Bytes = int64(float64(d.Files)*more), int64(float64(d.Bytes)*more)
	}
	return d, nil
}
