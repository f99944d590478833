//go:build linux

package before

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"loadline/checks"
)

// oddNames are names on both sides of every rule on names.
func oddNames() []string {
	list := []string{
		".", "..", "...", ". .", " .", ". ", "  ", " ", "a.", "a ", " a", "-", "--", "-a", "a-",
		"con", "CON", "Con.tar.gz", "con.", "con ", "con .txt", "xcon", "conx", ".con", "nul", "NUL.", "prn.txt", "aux",
		"com0", "com1", "COM9.x", "com10", "com\u00b9", "com", "lpt", "LPT9.txt", "lpt0", "lpt1 ", "CON:", "\uff23ON",
		".Trash-1000", ".Trash-", ".Trash-x", ".Trash-10x", "xTrash-1", ".Trashes", ".trashes", ".DS_Store", ".ds_store", "DS_Store",
		"Thumbs.db", "THUMBS.DB", "thumbs.db", "Thumbs.db ", "Thumb\u017f.db", "desktop.ini", "Desktop.ini", "$RECYCLE.BIN", "$recycle.bin", "$RECYCLE",
		"System Volume Information", "system volume information", "lost+found", "Lost+Found", ".fseventsd", ".Spotlight-V100", ".Spotlight-V200", ".TemporaryItems",
		"._x", "._", "._a", "x._a", "~$a.doc", "~$", "~a", "a~$", "a.part", ".part", "part", "a.PART", "a.partial", "a.part.x", "a.crdownload", "a.tmp", ".tmp", "tmp",
		".a.abcdef", ".a.ABCdef", ".a.12345", ".a.1234567", ".a.12345_", "..abcdef", "..a.abcdef", ".abcdef", "a.abcdef", ".a.b.abcdef", ".\n.abcdef", ".a.abcde\u00e9",
		"K", "k", "\u212a", "STRASSE", "strasse", "stra\u00dfe", "STRA\u1e9eE", "\ufb01", "fi", "FI", "\u00e9", "e\u0301", "\u00c9", "E\u0301",
		"\u212b", "\u00c5", "A\u030a", "a\u030a", "\u03c3", "\u03c2", "\u03a3", "\u0130", "i\u0307", "i", "I", "\u0131", "\u0149", "\u02bcn",
		"\u1e69", "s\u0323\u0307", "s\u0307\u0323", "\uac00", "\u1100\u1161", "\u0344", "\u0308\u0301", "\u13a0", "\uab70", "\u1f80", "\u1f88", "\u1f00\u03b9",
		"\xff", "\xff\xfe", "A\xff", "a\xff", "\xed\xa0\x80", "\xc0\x80", "\xf4\x90\x80\x80", "\xe2\x82", "\xf4\x8f\xbf\xbf", "\xff ", " \xff", "\xff\n", "\xff:", "\xff\u202e", "\xff\x01",
		"\ufffd", "\ufffe", "\uffff", "a\ufffeb", "\U0001fffe", "\U0001f3ac", "\u202e", "a\u200eb", "\u200f", "\u061c", "\u2066", "\u2069", "\u202a", "\u2065", "\u200d", "\u2028", "\u00a0",
		"\t", "a\tb", "\x7f", "\u0080", "\u0085", "\u009f", "\x1b[2J", "a\nb", "a\rb", "a\r\nb", "\x01\t", "\x0b",
		`back\slash`, "co:lon", "st*r", "wh?t", `"quoted"`, "<", ">", "|", `\`, "a\x00"[:1], "fourteen-bytes", "fifteen-bytes--",
		strings.Repeat("a", 255), strings.Repeat("A", 255), strings.Repeat("\u00e9", 127), strings.Repeat("e\u0301", 85),
		strings.Repeat("\U0001f3ac", 63), strings.Repeat("字", 85), strings.Repeat(".", 255), strings.Repeat(" ", 255), strings.Repeat("\n", 255), strings.Repeat("\xff", 255),
	}
	for b := 1; b < 256; b++ {
		list = append(list, "b"+string([]byte{byte(b)})+"b", string([]byte{byte(b)}))
	}
	return list
}

// plant makes an entry of a kind by number; names that no folder takes are left out.
func plant(t testing.TB, dir, name string, kind int) {
	t.Helper()
	if name == "." || name == ".." || strings.Contains(name, "/") {
		return
	}
	p := filepath.Join(dir, name)
	var err error
	switch kind % 5 {
	case 0:
		err = os.WriteFile(p, []byte("x"), 0o644)
	case 1:
		err = os.WriteFile(p, []byte("\x00\x05\x16\x07rest"), 0o644)
	case 2:
		err = os.Mkdir(p, 0o755)
	case 3:
		err = os.Symlink("x", p)
	case 4:
		err = os.WriteFile(p, []byte("\x00\x05\x16"), 0o644)
	}
	// The first of two entries of one name stays.
	if _, there := os.Lstat(p); there != nil {
		t.Fatal(err, there)
	}
}

// TestRandomTrees compares random trees of odd names.
func TestRandomTrees(t *testing.T) {
	base := realTemp(t)
	odd := oddNames()
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		root := filepath.Join(base, strconv.Itoa(n))
		plantTree(t, root, odd, func(k int) int { return rapid.IntRange(0, k-1).Draw(rt, "") })
		defer os.RemoveAll(root)
		compareAgain(t, checks.Job{Source: root, Prefix: []string{"", "p"}[n%2]})
		if t.Failed() {
			rt.Fatalf("see above")
		}
	})
}

func plantTree(t testing.TB, root string, odd []string, pick func(n int) int) {
	t.Helper()
	folders := []string{root}
	if err := os.Mkdir(root, 0o755); err != nil {
		t.Fatal(err)
	}
	for range 5 + pick(40) {
		name := odd[pick(len(odd))]
		if pick(3) == 0 {
			name += odd[pick(len(odd))]
		}
		if len(name) > 255 || name == "." || name == ".." || strings.Contains(name, "/") {
			continue
		}
		dir := folders[pick(len(folders))]
		if len(dir) > 2000 {
			continue
		}
		kind := pick(5)
		plant(t, dir, name, kind)
		if info, err := os.Lstat(filepath.Join(dir, name)); err == nil && info.IsDir() {
			folders = append(folders, filepath.Join(dir, name))
		}
	}
	grow(t, root)
}

func FuzzTree(f *testing.F) {
	base := realTemp(f)
	f.Add(uint64(1), uint64(2), "a\u0301\xff", "K")
	f.Add(uint64(3), uint64(4), "._\n", ".Trash-7")
	n := 0
	f.Fuzz(func(t *testing.T, a, b uint64, x, y string) {
		n++
		r := rand.New(rand.NewPCG(a, b))
		root := filepath.Join(base, fmt.Sprintf("%d-%d", os.Getpid(), n))
		odd := []string{"a", "B"}
		for _, s := range []string{x, y, strings.ToUpper(x), strings.ToLower(x), strings.ToTitle(y)} {
			if s = strings.NewReplacer("\x00", "", "/", "").Replace(s); s != "" && len(s) <= 255 {
				odd = append(odd, s)
			}
		}
		defer os.RemoveAll(root)
		plantTree(t, root, odd, r.IntN)
		compareAgain(t, checks.Job{Source: root})
	})
}
