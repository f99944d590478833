package manifest

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"

	"loadline/checks/internal/fixture"
	"loadline/checks/internal/sums"
)

// An Index finds what the manifest holds and nothing else, in whatever order it is asked: compared with a map.
func TestIndex(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 5))
	set := map[string]bool{}
	parts := []string{"a", "b", "ab", "a.b", "a-b", "cam", "day-01", "day-02", "Ä", "ä", "z%20", "take.mov", "take0001.mov", "take0002.mov", "\xff", "x\ny"}
	for len(set) < 3000 {
		p := parts[r.IntN(len(parts))]
		for range r.IntN(5) {
			p += map[bool]string{true: "/", false: ""}[r.IntN(2) == 0] + parts[r.IntN(len(parts))]
		}
		if cleanPath([]byte(p)) == nil {
			set[p] = true
		}
	}
	var paths []string
	for p := range set {
		paths = append(paths, p)
	}
	slices.Sort(paths)
	files := filesOf(paths...)
	name := filepath.Join(t.TempDir(), "m")
	m := manifestOf(t, "", files)
	fixture.WriteFile(t, name, string(m))
	for _, keep := range []Keep{{}, {SHA256: true}, {Set: sums.MD5}, {SHA256: true, Set: sums.MD5 | sums.CRCs}} {
		x, err := Load(t.Context(), name, keep, nil)
		fixture.Must(t, err)
		if x.Len() != len(files) || x.Seal == "" || x.Seal != readSeal(name) {
			t.Fatalf("%d files, seal %q and %q", x.Len(), x.Seal, readSeal(name))
		}
		for i, path := range x.All() {
			if string(path) != paths[i] || x.Path(i) != paths[i] {
				t.Fatalf("file %d is %q and %q, want %q", i, path, x.Path(i), paths[i])
			}
			var s Sums
			x.Sums(i, &s)
			want := files[i].Sums
			want.Has &= keep.Set
			if x.Size(i) != files[i].Size || s.Has != want.Has ||
				keep.SHA256 != (s.SHA256 == want.SHA256) || keep.Set&sums.MD5 != 0 != (s.MD5 == want.MD5) || keep.Set&sums.CRC32 != 0 != (s.CRC32 == want.CRC32) {
				t.Fatalf("%q: %d bytes, %+v", path, x.Size(i), s)
			}
			if disk := x.OnDisk(i); files[i].Disk == nil && disk != paths[i] || files[i].Disk != nil && disk != string(files[i].Disk) {
				t.Errorf("%q is %q on the disk", path, disk)
			}
		}
		c := x.Cursor()
		ask := func(p string) {
			want, ok := slices.BinarySearch(paths, p)
			if !ok {
				want = -1
			}
			if got := c.Find([]byte(p)); got != want {
				t.Fatalf("%q: %d, want %d", p, got, want)
			}
		}
		for _, p := range paths { // in order, each with neighbours that are not there
			ask(p)
			ask(p + "\x00")
			ask(p[:len(p)-1])
			ask(p)
		}
		for range 20000 {
			p := paths[r.IntN(len(paths))]
			switch r.IntN(4) {
			case 0:
				p = p[:r.IntN(len(p)+1)]
			case 1:
				p += parts[r.IntN(len(parts))]
			case 2:
				b := []byte(p)
				b[r.IntN(len(b))] ^= byte(1 << r.IntN(8))
				p = string(b)
			}
			ask(p)
		}
	}
	if readSeal(filepath.Join(t.TempDir(), "none")) != "" {
		t.Error("a seal of nothing")
	}
	fixture.WriteFile(t, name, string(bytes.Repeat([]byte("x"), 100)))
	if readSeal(name) != "" {
		t.Error("a seal of what is no manifest")
	}
}

func BenchmarkFind(b *testing.B) {
	var paths []string
	for i := range 200_000 {
		paths = append(paths, fmt.Sprintf("season-%02d/day-%03d/camera-%d/take-%07d-of-the-long-interview.mov", i/100_000, i/1000, i/500%2, i))
	}
	slices.Sort(paths)
	name := filepath.Join(b.TempDir(), "m")
	fixture.WriteFile(b, name, string(manifestOf(b, "", filesOf(paths...))))
	x, err := Load(b.Context(), name, Keep{}, nil)
	fixture.Must(b, err)
	c := x.Cursor()
	for what, step := range map[string]int{"in order": 1, "in none": 7919} {
		b.Run(what, func(b *testing.B) {
			i := 0
			for b.Loop() {
				if c.Find([]byte(paths[i])) != i {
					b.Fatal(paths[i])
				}
				i = (i + step) % len(paths)
			}
		})
	}
}

// readSeal returns what tells a manifest from any other, without reading all of it; "" where the file is none.
func readSeal(file string) string {
	f, err := openFile(file)
	if err != nil {
		return ""
	}
	defer f.Close()
	first, err := bufio.NewReader(f).Peek(len("# Loadline manifest "))
	if err != nil || !Begins(append(bytes.Clone(first), "1."...)) {
		return ""
	}
	info, err := f.Stat()
	if err != nil {
		return ""
	}
	var b [72]byte
	if n, err := f.ReadAt(b[:], max(0, info.Size()-int64(len(b)))); n != len(b) || err != nil && !errors.Is(err, io.EOF) {
		return ""
	}
	seal, ok := bytes.CutPrefix(b[:], []byte("# seal "))
	if !ok {
		return ""
	}
	seal = bytes.TrimSuffix(seal, []byte("\n"))
	if _, err := hex.DecodeString(string(seal)); err != nil {
		return ""
	}
	return string(seal)
}
