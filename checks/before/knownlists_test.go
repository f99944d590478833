package before

import (
	"path/filepath"
	"strings"
	"testing"

	"loadline/checks/internal/fixture"
)

// A list names files as the system does on which it was made, and nothing that it names leads out of the source.
// Paths of Windows: learn.microsoft.com, "Naming Files, Paths, and Namespaces".
func TestResolveListed(t *testing.T) {
	root := filepath.Join(t.TempDir(), "source")
	fixture.WriteFile(t, filepath.Join(root, "a", "b", "clip.mov"), "frames")
	fixture.WriteFile(t, filepath.Join(root, "a", "list.md5"), "list")
	fixture.WriteFile(t, filepath.Join(filepath.Dir(root), "outside.mov"), "not ours")
	k := knownLists{root: root}
	for _, c := range []struct {
		list, name, want string
		inside           bool
	}{
		{"a/list.md5", "b/clip.mov", "a/b/clip.mov", true},
		{"a/list.md5", "./b/clip.mov", "a/b/clip.mov", true},
		{"a/list.md5", `b\clip.mov`, "a/b/clip.mov", true},
		{"a/list.md5", `.\b\clip.mov`, "a/b/clip.mov", true},
		{"a/list.md5", `..\a\b\clip.mov`, "a/b/clip.mov", true},
		{"a/list.md5", "../a/b/clip.mov", "a/b/clip.mov", true},
		{"a/list.md5", `b\gone.mov`, `a/b\gone.mov`, true}, // nothing tells which of the two it is
		{"list", "../outside.mov", "", false},
		{"a/list.md5", "../../outside.mov", "", false},
		{"a/list.md5", `..\..\outside.mov`, "", false},
		{"a/list.md5", `..\..\gone.mov`, "", false},
		{"a/list.md5", "/a/b/clip.mov", "", false},
		{"a/list.md5", `\a\b\clip.mov`, "", false},
		{"a/list.md5", `\\server\films\clip.mov`, "", false},
		{"a/list.md5", `E:\films\clip.mov`, "", false},
		{"a/list.md5", "e:/films/clip.mov", "", false},
		{"a/list.md5", "1:/clip.mov", "a/1:/clip.mov", true},
	} {
		file, inside := k.resolve(c.list, c.name)
		if inside != c.inside || inside && file != c.want {
			t.Errorf("%q names %q: %q, %v; want %q, %v", c.list, c.name, file, inside, c.want, c.inside)
		}
	}
}

// The kinds of digests and the endings are those that isKnownList tells of.
func TestKnownListNames(t *testing.T) {
	for _, kind := range []string{"md5", "sha1", "sha256", "sha512"} {
		for _, name := range []string{"reel." + kind, "reel." + kind + "sum", "reel." + kind + "sums", kind + "sum", kind + "SUMS.txt", "Reel." + strings.ToUpper(kind)} {
			if list, bag := isKnownList(name); !list || bag {
				t.Errorf("%s: a list %v, of a bag %v", name, list, bag)
			}
		}
		for _, name := range []string{"manifest-" + kind + ".txt", "TagManifest-" + kind + ".TXT"} {
			if list, bag := isKnownList(name); !list || !bag {
				t.Errorf("%s: a list %v, of a bag %v", name, list, bag)
			}
		}
	}
	for _, name := range []string{"Checksums", "checksum.txt"} {
		if list, _ := isKnownList(name); !list {
			t.Errorf("%s is a list", name)
		}
	}
	for _, name := range []string{"", "clip.mov", "notes.txt", "md5", "manifest-md5", "manifest-crc.txt", "a.md5.mov", "clips"} {
		if list, _ := isKnownList(name); list {
			t.Errorf("%s is no list", name)
		}
	}
}
