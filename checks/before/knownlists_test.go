package before

import (
	"path/filepath"
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
