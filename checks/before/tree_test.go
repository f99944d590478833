//go:build linux

package before

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// Trees are written one entry a line, parents made as needed, in order:
//
//	folder/                    a folder
//	file 123                   a file of 123 bytes; a bare name is an empty file
//	file "text"                a file of these bytes
//	disk.img 48G hole          a file of this size that is one hole (k, M, G, T: powers of 1024)
//	link => target             a symbolic link
//	second == first            a hard link to an entry made before
//	pipe fifo, plug socket     special files
//
// Behind them may stand mode=0600, date=1969-12-31T23:59:58Z, owner=1000 and xattr=user.note=text.
// Names and targets that hold spaces or bytes of any other kind are Go string literals. Anywhere in
// one, {x*255} stands for 255 times x. What is not dated is of treeDate.

var (
	// treeDate is when everything in a tree was last changed, if nothing else is said.
	treeDate = time.Date(2026, 9, 12, 16, 30, 0, 0, time.UTC)
	// treeNow is the clock of the tests on trees.
	treeNow = time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC)
)

// grow makes a tree. Modes and dates are set at the end, the deepest first, so that a folder may be
// closed to everybody.
func grow(t testing.TB, root string, lines ...string) {
	t.Helper()
	g := grower{root: root, late: map[string]func() error{}, dates: map[string]time.Time{}}
	for _, l := range lines {
		if l = strings.TrimSpace(l); l == "" || strings.HasPrefix(l, "#") {
			continue
		}
		if err := g.line(l); err != nil {
			t.Fatalf("tree line %.200s: %v", l, err)
		}
	}
	if err := g.finish(); err != nil {
		t.Fatal(err)
	}
}

type grower struct {
	root  string
	late  map[string]func() error
	dates map[string]time.Time
}

var runs = regexp.MustCompile(`\{((?:[^{}*]|\\.)+)\*(\d+)\}`)

// spread writes out {x*3}, and {{x*3}/*2} from within.
func spread(s string) string {
	for {
		wide := spreadOnce(s)
		if wide == s {
			return s
		}
		s = wide
	}
}

func spreadOnce(s string) string {
	return runs.ReplaceAllStringFunc(s, func(m string) string {
		parts := runs.FindStringSubmatch(m)
		n, _ := strconv.Atoi(parts[2])
		return strings.Repeat(parts[1], n)
	})
}

// words splits a line at spaces outside of string literals, and takes the literals apart.
func words(l string) (list []string, err error) {
	for l = strings.TrimLeft(l, " "); l != ""; l = strings.TrimLeft(l, " ") {
		if l[0] == '"' || l[0] == '`' {
			q, err := strconv.QuotedPrefix(l)
			if err != nil {
				return nil, err
			}
			s, err := strconv.Unquote(q)
			if err != nil {
				return nil, err
			}
			list, l = append(list, "\""+spread(s)), l[len(q):]
			continue
		}
		w, rest, _ := strings.Cut(l, " ")
		list, l = append(list, spread(w)), rest
	}
	return list, nil
}

func bare(word string) string { return strings.TrimPrefix(word, "\"") }

func (g *grower) line(l string) error {
	w, err := words(l)
	if err != nil || len(w) == 0 {
		return fmt.Errorf("no words: %w", err)
	}
	name, rest := bare(w[0]), w[1:]
	p := filepath.Join(g.root, name)
	if err := deepMkdir(g.root, filepath.Dir(name)); err != nil {
		return err
	}
	var options []string
	for len(rest) > 0 && isOption(rest[len(rest)-1]) {
		options, rest = append(options, rest[len(rest)-1]), rest[:len(rest)-1]
	}
	kind := ""
	if len(rest) > 0 {
		kind = rest[0]
	}
	switch {
	case strings.HasSuffix(name, "/"):
		err = deepMkdir(g.root, strings.TrimSuffix(name, "/"))
	case kind == "=>":
		return inside(g.root, name, func(base string) error { return os.Symlink(bare(rest[1]), base) })
	case kind == "==":
		return os.Link(filepath.Join(g.root, bare(rest[1])), p)
	case kind == "fifo":
		err = unix.Mkfifo(p, 0o644)
	case kind == "socket":
		err = unix.Mknod(p, unix.S_IFSOCK|0o644, 0)
	case strings.HasPrefix(kind, "\""):
		err = inside(g.root, name, func(base string) error { return os.WriteFile(base, []byte(bare(kind)), 0o644) })
	default:
		err = inside(g.root, name, func(base string) error { return makeFile(base, kind, slices.Contains(rest, "hole")) })
	}
	if err != nil {
		return err
	}
	key := strings.TrimSuffix(name, "/")
	g.dates[key] = treeDate
	for _, o := range options {
		if err := g.option(key, o); err != nil {
			return err
		}
	}
	return nil
}

func isOption(w string) bool {
	k, _, ok := strings.Cut(w, "=")
	return ok && slices.Contains([]string{"mode", "date", "owner", "xattr"}, k)
}

func (g *grower) option(name, o string) (err error) {
	p := filepath.Join(g.root, name)
	k, v, _ := strings.Cut(o, "=")
	switch k {
	case "mode":
		m, err := strconv.ParseUint(v, 8, 32)
		if err != nil {
			return err
		}
		g.late[name] = func() error { return unix.Chmod(p, uint32(m)) }
	case "date":
		g.dates[name], err = time.Parse(time.RFC3339Nano, v)
	case "owner":
		n, err := strconv.Atoi(v)
		if err != nil {
			return err
		}
		return os.Lchown(p, n, n)
	case "xattr":
		a, text, _ := strings.Cut(v, "=")
		err = unix.Lsetxattr(p, a, []byte(text), 0)
	}
	return err
}

// finish dates everything, then closes what is to be closed: both from the bottom up.
func (g *grower) finish() error {
	err := filepath.WalkDir(g.root, func(p string, e os.DirEntry, err error) error {
		if rel, _ := filepath.Rel(g.root, p); err == nil && rel != "." && e.Type()&os.ModeSymlink == 0 {
			if _, known := g.dates[rel]; !known {
				g.dates[rel] = treeDate
			}
		}
		return nil // a path too long for the system keeps its date
	})
	if err != nil {
		return err
	}
	var order []string
	for name := range g.dates {
		order = append(order, name)
	}
	slices.Sort(order)
	slices.Reverse(order)
	for _, name := range order {
		err := inside(g.root, name, func(base string) error {
			ts := unix.NsecToTimespec(0)
			ts.Sec, ts.Nsec = g.dates[name].Unix(), int64(g.dates[name].Nanosecond())
			return unix.UtimesNanoAt(unix.AT_FDCWD, base, []unix.Timespec{ts, ts}, unix.AT_SYMLINK_NOFOLLOW)
		})
		if err != nil {
			return fmt.Errorf("dating %q: %w", name, err)
		}
		if f := g.late[name]; f != nil {
			if err := f(); err != nil {
				return err
			}
		}
	}
	return nil
}

func makeFile(path, size string, hole bool) error {
	n, err := sizeOf(size)
	if err != nil {
		return err
	}
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer f.Close()
	if hole {
		return f.Truncate(n)
	}
	_, err = f.WriteString(strings.Repeat("tide mill\n", int(n)/10+1)[:n])
	return err
}

func sizeOf(s string) (int64, error) {
	if s == "" {
		return 0, nil
	}
	shift := strings.IndexByte("kMGT", s[len(s)-1]) + 1
	if shift > 0 {
		s = s[:len(s)-1]
	}
	n, err := strconv.ParseInt(s, 10, 64)
	return n << (10 * shift), err
}

// longRel is how much of a path these helpers give the system at a time.
const longRel = 2000

// inside calls f with a path that leads to name below root however long that is: through a
// descriptor of its folder where the path is too long in one piece.
func inside(root, name string, f func(path string) error) error {
	if len(root)+len(name) < longRel {
		return f(filepath.Join(root, name))
	}
	fd, err := deepOpen(root, filepath.Dir(name))
	if err != nil {
		return err
	}
	defer unix.Close(fd)
	return f(fmt.Sprintf("/proc/self/fd/%d/%s", fd, filepath.Base(name)))
}

func deepOpen(root, rel string) (int, error) {
	fd, err := unix.Open(root, unix.O_PATH|unix.O_DIRECTORY|unix.O_CLOEXEC, 0)
	for _, part := range strings.Split(rel, "/") {
		if err != nil {
			return -1, err
		}
		up := fd
		fd, err = unix.Openat(up, part, unix.O_PATH|unix.O_DIRECTORY|unix.O_CLOEXEC, 0)
		unix.Close(up)
	}
	return fd, err
}

// deepMkdir makes a folder and those above it, however long the path is.
func deepMkdir(root, rel string) error {
	if len(root)+len(rel) < longRel {
		return os.MkdirAll(filepath.Join(root, rel), 0o755)
	}
	fd, err := unix.Open(root, unix.O_PATH|unix.O_DIRECTORY|unix.O_CLOEXEC, 0)
	for _, part := range strings.Split(rel, "/") {
		if err != nil {
			return err
		}
		if err = unix.Mkdirat(fd, part, 0o755); err != nil && err != unix.EEXIST { //nolint:errorlint // x/sys returns it bare
			unix.Close(fd)
			return err
		}
		up := fd
		fd, err = unix.Openat(up, part, unix.O_PATH|unix.O_DIRECTORY|unix.O_CLOEXEC, 0)
		unix.Close(up)
	}
	if err == nil {
		unix.Close(fd)
	}
	return err
}
