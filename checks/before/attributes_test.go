package before

import (
	"testing"

	"loadline/checks/share"
)

func TestClassify(t *testing.T) {
	for name, want := range map[string]attributeClass{
		"user.note":                             ofTheUser,  // xattr(7)
		"security.selinux":                      ofTheClass, // xattr(7)
		"trusted.overlay.opaque":                ofTheClass,
		"system.posix_acl_access":               ofAccess, // acl(5)
		"system.posix_acl_default":              ofAccess,
		"system.nfs4_acl":                       ofTheClass,
		"com.apple.system.Security":             ofAccess, // KAUTH_FILESEC_XATTR, bsd/sys/kauth.h of xnu
		"com.apple.decmpfs":                     ofASystem,
		"com.apple.quarantine":                  ofASystem,
		"com.apple.provenance":                  ofASystem,
		"com.apple.lastuseddate#PS":             ofASystem, // flags behind the name: xattr_name_with_flags(3)
		"user.com.apple.quarantine":             ofASystem,
		"osx.com.apple.quarantine":              ofASystem, // kernel documentation, hfsplus
		"com.apple.FinderInfo":                  ofTheUser,
		"com.apple.ResourceFork":                ofTheUser,
		"com.apple.metadata:_kMDItemUserTags":   ofTheUser,
		"osx.com.apple.metadata:_kMDItemRating": ofTheUser,
		"org.example.note":                      ofTheUser,
		"security":                              ofTheUser,
		"":                                      ofTheUser,
	} {
		if got := classify(name); got != want {
			t.Errorf("%q: %d, want %d", name, got, want)
		}
	}
}

// Sizes by hand after bsd/vfs/vfs_xattr.c of xnu 11417.101.15: ATTR_BUF_SIZE 4,096, attr_header_t 120 bytes, an empty
// resource fork 286, so that 3,690 bytes are free for entries of 11 bytes and the name with its NUL, in steps of four, and
// their values.
func TestAppleDoubleSize(t *testing.T) {
	for _, c := range []struct {
		list []attribute
		want int64
	}{
		{[]attribute{{"com.apple.quarantine", 57}}, 4096},
		{[]attribute{{finderInfo, 32}}, 4096},
		{[]attribute{{"abc", 3674}}, 4096}, // 16 and 3,674 are all there is
		{[]attribute{{"abc", 3675}}, 8192},
		{[]attribute{{"abc", 3674 + 4096}}, 8192},
		{[]attribute{{"abc", 3675 + 4096}}, 12288},
		{[]attribute{{resourceFork, 1_000_000}}, 3810 + 1_000_000},
		{[]attribute{{resourceFork, 100}}, 4096},
		{[]attribute{{"a", 3000}, {"b", 3000}, {resourceFork, 286}}, 8192},
	} {
		if got := appleDoubleSize(c.list); got != c.want {
			t.Errorf("%v: %d, want %d", c.list, got, c.want)
		}
	}
}

func TestWritesDoubles(t *testing.T) {
	for _, c := range []struct {
		on      share.Platform
		kind    string
		options []string
		want    bool
	}{
		{share.MacOS, "nfs", []string{"nonamedattr"}, true},
		{share.MacOS, "nfs", []string{"namedattr"}, false},
		{share.Linux, "nfs", nil, false},
		{share.MacOS, "smbfs", nil, false},
	} {
		f := &share.Facts{Platform: c.on, NFS: c.kind == "nfs", Mount: share.Mount{Type: c.kind, Options: c.options}}
		if got := writesDoubles(f); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
}
