//go:build linux

package before

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
	"pgregory.net/rapid"

	"loadline/checks"
)

// linkRule classifies one link a second time, as the rulebook says it, with the kernel for what the
// check does on paper: open(2) follows the link, /proc/self/fd tells where it ended.
func linkRule(t testing.TB, root, rel string) string {
	t.Helper()
	p := filepath.Join(root, rel)
	target, err := os.Readlink(p)
	if err != nil {
		t.Fatal(err)
	}
	if target[0] == '/' {
		return "link-absolute"
	}
	outside := func(p string) bool { return p != root && !strings.HasPrefix(p, root+"/") }
	end, err := ending(p)
	if err == nil {
		if outside(end) {
			return "link-outside"
		}
		return "link-inside"
	}
	// Nothing there: by its words first, then as far as the kernel gets.
	lexical := filepath.Join(filepath.Dir(p), target)
	if outside(lexical) || lexicallyOutside(filepath.Dir(rel), target) {
		return "link-outside"
	}
	if err == unix.ELOOP { //nolint:errorlint // x/sys returns it bare
		return "link-loop"
	}
	if outside(reach(t, p)) {
		return "link-outside"
	}
	return "link-dangling"
}

// ending returns where the kernel ends when it follows a path.
func ending(path string) (string, error) {
	fd, err := unix.Open(path, unix.O_PATH|unix.O_CLOEXEC, 0)
	if err != nil {
		return "", err
	}
	defer unix.Close(fd)
	return os.Readlink(fmt.Sprintf("/proc/self/fd/%d", fd))
}

// reach returns the first thing that is missing on a path that leads nowhere. Each part is asked of
// the kernel; only a link whose own target is missing is put in place of its name.
func reach(t testing.TB, path string) string {
	for range 100 { // more than 40 links are a loop, which path is not
		at := "/"
		parts := strings.Split(strings.TrimPrefix(path, "/"), "/")
		for i, part := range parts {
			next := at + "/" + part
			end, err := ending(next)
			if err == nil && i < len(parts)-1 {
				_, err = ending(next + "/") // a file is the end of its path
			}
			if err == nil {
				at = end
				continue
			}
			target, linkErr := os.Readlink(next)
			if linkErr != nil {
				return filepath.Clean(next)
			}
			if target[0] != '/' {
				target = at + "/" + target
			}
			path = target + "/" + strings.Join(parts[i+1:], "/")
			break
		}
		if at == path {
			break
		}
	}
	t.Fatalf("%q leads somewhere", path)
	return ""
}

// lexicallyOutside says whether a target leaves the source on its way, even if it comes back.
func lexicallyOutside(dir, target string) bool {
	at := strings.FieldsFunc(dir, func(r rune) bool { return r == '/' })
	if dir == "." {
		at = nil
	}
	for _, part := range strings.Split(target, "/") {
		switch part {
		case "", ".":
		case "..":
			if len(at) == 0 {
				return true
			}
			at = at[:len(at)-1]
		default:
			at = append(at, part)
		}
	}
	return false
}

// compareLinks compares every link of a tree, each of which has exactly one rule.
func compareLinks(t testing.TB, root string) map[spot]checks.Level {
	t.Helper()
	got := spots(examine(t, checks.Job{Source: root}), symlinks.Rules...)
	want := map[spot]bool{}
	for s := range find(t, root, "", "-type", "l") {
		want[spot{linkRule(t, root, s.path), s.path}] = true
	}
	compare(t, "the kernel", got, want)
	return got
}

// chain makes n links: the last name leads through all of them to the target.
func chain(name string, n int, target string) []string {
	var lines []string
	for i := 1; i <= n; i++ {
		lines = append(lines, fmt.Sprintf("%s%03d => %s", name, i, target))
		target = fmt.Sprintf("%s%03d", name, i)
	}
	return lines
}

func TestLinks(t *testing.T) {
	base := realTemp(t)
	root := filepath.Join(base, "source")
	grow(t, base, `source/`, `outside/file 3`, `outside/back => ../source`, `outside/loop => loop`, `source-too/file 1`)
	tree := []string{
		`file 1`, `a/b/file 2`, `a/sibling 1`, `"sp ace" 1`,
		`in => file`, `in-sub => a/b/file`, `in-folder => a/b/`, `a/up => ../file`, `self-folder => .`, `a/root => ..`, `a/b/root => ../..`,
		`out => ../outside/file`, `out-parent => ..`, `out-folder => ../outside`, `a/out => ../../outside/file`,
		`out-prefix => ../source-too/file`, // begins with the source's own path
		`re-enters => ../source/file`,      // leaves and comes back: resolved, it is inside
		`re-enters-missing => ../source/missing`,
		`back-by-link => ../outside/back/file`,
		`abs => /etc/passwd`, fmt.Sprintf("abs-inside => %s/file", root), `abs-missing => /missing/thing`, `abs-root => /`, `abs-slashes => //`,
		`via-abs => abs`, `via-abs-inside => abs-inside`, `via-abs-missing => abs-missing`,
		`via-out => out`, `via-out-folder => out-folder/file`, `via-out-missing => out-folder/missing`,
		`via-root => a/root/file`, `via-root-up => a/root/../outside/file`, `via-folder-up => in-folder/../sibling`,
		`dangling => missing`, `dangling-deep => missing/deep/er`, `out-missing => ../missing`, `via-missing => dangling`,
		`missing-up => missing/../file`, `file-slash => file/`, `file-dot => file/.`, `file-up => file/../file`, `file-below => file/below`,
		`folder-slash => a/`, `folder-slashes => a//b///file`, `dots => ./././file`,
		`self => self`, `ping => pong`, `pong => ping`, `loop-below => self/below`, `out-loop => ../outside/loop`,
		`long-missing => {n*256}`, `long-out => ../{n*256}`, `long-path => {n/*2000}`,
		`"esc\x1b[2J" => file`, `"to space" => "sp ace"`, `"to bytes" => "\xff\n"`,
	}
	tree = append(tree, chain("c", 42, "file")...)
	tree = append(tree, chain("f", 42, "a/b")...)
	tree = append(tree, `through40 => f039/file`, `through41 => f040/file`)
	grow(t, root, tree...)
	got := compareLinks(t, root)
	// What the rulebook says outright, whatever the kernel of this computer says.
	for path, rule := range map[string]string{
		"c040": "link-inside", "c041": "link-loop", // check value 7, path_resolution(7)
		"through40": "link-inside", "through41": "link-loop",
		"in": "link-inside", "out": "link-outside", "via-out": "link-outside", "abs-inside": "link-absolute",
		"dangling": "link-dangling", "out-missing": "link-outside", "self": "link-loop", "ping": "link-loop",
		"re-enters": "link-inside", "a/root": "link-inside", "out-parent": "link-outside", "file-slash": "link-dangling",
		"out-prefix": "link-outside", "self-folder": "link-inside", "long-missing": "link-dangling", "long-out": "link-outside",
	} {
		if _, ok := got[spot{rule, path}]; !ok {
			t.Errorf("%s is not %s", path, rule)
		}
	}
}

// TestLinksBelowLongPaths holds links whose folder has a path too long to be opened in one piece.
func TestLinksBelowLongPaths(t *testing.T) {
	root := realTemp(t)
	deep := strings.Repeat(strings.Repeat("d", 200)+"/", 25)
	grow(t, root, deep+"file 1", deep+"to-file => file", deep+"to-missing => missing", deep+"sub/to-up => ../file",
		deep+"to-link => to-file", deep+"to-top => "+strings.Repeat("../", 25)+"top", "top 1", deep+"out => "+strings.Repeat("../", 26)+"etc")
	got := spots(examine(t, checks.Job{Source: root}), symlinks.Rules...)
	compare(t, "the tree", got, map[spot]bool{
		{"link-inside", deep + "to-file"}: true, {"link-inside", deep + "to-link"}: true, {"link-inside", deep + "sub/to-up"}: true,
		{"link-inside", deep + "to-top"}: true, {"link-dangling", deep + "to-missing"}: true, {"link-outside", deep + "out"}: true,
	})
}

// plantLinks makes a random tree with many links below a folder of its own.
func plantLinks(t testing.TB, base string, pick func(n int) int) string {
	if err := os.Mkdir(base, 0o755); err != nil {
		t.Fatal(err)
	}
	tree := []string{"src/f 1", "src/a/f 1", "src/a/b/f 1", "src/c/", "out/f 1"}
	folders := []string{"", "a/", "a/b/", "c/"}
	parts := []string{"..", ".", "", "a", "b", "c", "f", "l0", "l1", "l2", "l3", "src", "out", "missing"}
	taken := map[string]bool{}
	for range 4 + pick(8) {
		name := fmt.Sprintf("src/%sl%d", folders[pick(len(folders))], pick(4))
		var target []string
		for range 1 + pick(5) {
			target = append(target, parts[pick(len(parts))])
		}
		s := strings.Join(target, "/")
		switch {
		case pick(12) == 0:
			s = filepath.Join(base, "src", s)
		case s == "" || s[0] == '/':
			s = "." + s
		}
		if !taken[name] {
			tree = append(tree, name+" => "+s)
		}
		taken[name] = true
	}
	grow(t, base, tree...)
	return filepath.Join(base, "src")
}

func TestRandomLinks(t *testing.T) {
	base := realTemp(t)
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		dir := filepath.Join(base, fmt.Sprint(n))
		root := plantLinks(t, dir, func(k int) int { return rapid.IntRange(0, k-1).Draw(rt, "") })
		got := spots(examine(t, checks.Job{Source: root}), symlinks.Rules...)
		for s := range find(t, root, "", "-type", "l") {
			want := spot{linkRule(t, root, s.path), s.path}
			if _, ok := got[want]; !ok {
				target, _ := os.Readlink(filepath.Join(root, s.path))
				rt.Errorf("%s => %q: want %s, got %v", s.path, target, want.rule, got)
			}
			delete(got, want)
		}
		if len(got) > 0 {
			rt.Errorf("more than one rule a link: %v", got)
		}
	})
}

func FuzzLinkClassify(f *testing.F) {
	base := realTemp(f)
	f.Add(uint64(1), uint64(2))
	n := 0
	f.Fuzz(func(t *testing.T, a, b uint64) {
		n++
		r := rand.New(rand.NewPCG(a, b))
		dir := filepath.Join(base, fmt.Sprintf("%d-%d", os.Getpid(), n))
		defer os.RemoveAll(dir)
		compareLinks(t, plantLinks(t, dir, r.IntN))
	})
}
