package manifest

import (
	"bytes"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"loadline/checks/internal/fixture"
	"loadline/checks/internal/sums"
)

// filesOf is an invented archive as a manifest holds it: path to content.
func filesOf(paths ...string) []*File {
	slices.Sort(paths)
	files := make([]*File, len(paths))
	for i, p := range paths {
		content := "content of " + p
		files[i] = &File{Path: []byte(p), Size: int64(len(content)), Sums: sums.Of(sums.MD5|sums.CRCs, []byte(content))}
		if i%3 == 1 {
			files[i].Read, files[i].Disk = time.Date(2031, 4, 3, 2, 1, 0, 0, time.UTC), []byte("other "+p)
		}
	}
	return files
}

func manifestOf(t testing.TB, prefix string, files []*File) []byte {
	t.Helper()
	h := &Header{Made: time.Date(2031, 5, 4, 3, 2, 1, 0, time.UTC), Source: "/media/\"disk\n", Prefix: prefix, Files: int64(len(files)), Links: 1, Others: 2, Clutter: 3}
	for _, f := range files {
		h.Bytes += f.Size
	}
	var b bytes.Buffer
	fixture.Must(t, Write(&b, h, slices.Values(files)))
	return b.Bytes()
}

func TestManifestComesBack(t *testing.T) {
	_, paths := fixture.Hostile(t)
	files := filesOf(paths...)
	var got []File
	h, err := Read(bytes.NewReader(manifestOf(t, "a b", files)), func(f *File) error {
		got = append(got, File{Path: bytes.Clone(f.Path), Size: f.Size, Sums: f.Sums, Read: f.Read, Disk: f.Disk})
		return nil
	})
	fixture.Must(t, err)
	if h.Source != "/media/\"disk\n" || h.Prefix != "a b" || h.Links != 1 || h.Others != 2 || h.Clutter != 3 || h.Made.Year() != 2031 || len(got) != len(files) {
		t.Fatalf("head %+v with %d files", h, len(got))
	}
	for i, f := range files {
		if string(got[i].Path) != string(f.Path) || got[i].Size != f.Size || got[i].Sums != f.Sums || !got[i].Read.Equal(f.Read) || string(got[i].Disk) != string(f.Disk) {
			t.Errorf("%q comes back as %q %+v", f.Path, got[i].Path, got[i])
		}
	}
}

// The oracle is sha256sum -c of coreutils, over names with every byte.
func TestManifestForCoreutils(t *testing.T) {
	root, paths := fixture.Hostile(t)
	files := filesOf(paths...)
	name := filepath.Join(t.TempDir(), "m.sha256")
	fixture.WriteFile(t, name, string(manifestOf(t, "", files)))
	out := fixture.Command(t, root, "sha256sum", "-c", "--strict", "--warn", name)
	if n := strings.Count(out, ": OK\n"); n != len(files) {
		t.Errorf("%d of %d files accepted", n, len(files))
	}
}

// Any one byte changed, any line cut, taken out, doubled or moved: never a manifest. The error names
// a line.
func TestManifestEdited(t *testing.T) {
	whole := manifestOf(t, "p", filesOf("a", "b\nc", "d"))
	refused := func(what string, m []byte) {
		t.Helper()
		h, err := Read(bytes.NewReader(m), func(*File) error { return nil })
		if !errors.Is(err, ErrUnusable) || h != nil {
			t.Errorf("%s: %v", what, err)
		} else if len(m) > 0 && !strings.Contains(err.Error(), "line ") {
			t.Errorf("%s: no line in %q", what, err)
		}
	}
	for at := range whole {
		for _, change := range []byte{1, 0x20, 0x80} {
			m := bytes.Clone(whole)
			m[at] ^= change
			if at > bytes.LastIndexByte(whole[:len(whole)-1], '\n') && bytes.EqualFold(m, whole) {
				continue // the seal's own digits in capitals
			}
			refused(fmt.Sprintf("byte %d ^ %02x", at, change), m)
		}
		refused(fmt.Sprintf("cut at %d", at), whole[:at])
	}
	lines := bytes.SplitAfter(whole, []byte{'\n'})
	lines = lines[:len(lines)-1]
	for i := range lines {
		refused(fmt.Sprintf("without line %d", i+1), bytes.Join(slices.Delete(slices.Clone(lines), i, i+1), nil))
		refused(fmt.Sprintf("line %d twice", i+1), bytes.Join(slices.Insert(slices.Clone(lines), i, lines[i]), nil))
	}
	refused("more behind it", append(bytes.Clone(whole), "x\n"...))
	refused("twice", append(bytes.Clone(whole), whole...))
	refused("a checksum list", []byte(strings.Repeat("0", 64)+"  a\n"))
	refused("nothing", nil)
	refused("an endless line", []byte(first+strings.Repeat("x", longestLine+10)))
}

// A seal made anew cannot hide what never comes from the check: paths that lead out, doubled or out
// of order, counts that do not fit.
func TestManifestForged(t *testing.T) {
	for what, files := range map[string][]*File{
		"up":           filesOf("../a"),
		"absolute":     filesOf("/a"),
		"dot":          filesOf("a/./b"),
		"double slash": filesOf("a//b"),
		"folder":       filesOf("a/"),
		"doubled":      append(filesOf("a"), filesOf("a")...),
		"out of order": append(filesOf("b"), filesOf("a")...),
	} {
		if _, err := Read(bytes.NewReader(manifestOf(t, "", files)), func(*File) error { return nil }); !errors.Is(err, ErrUnusable) {
			t.Errorf("%s: %v", what, err)
		}
	}
}

// reseal puts a seal under a manifest that a test has changed.
func reseal(m []byte) []byte {
	at := bytes.LastIndex(m, []byte("# seal "))
	sum := sums.Of(sums.MD5|sums.CRCs, m[:at])
	return append(m[:at:at], fmt.Sprintf("# seal %x\n", sum.SHA256)...)
}

func FuzzManifest(f *testing.F) {
	f.Add(manifestOf(f, "p", filesOf("a", "b\nc", "d")))
	f.Add([]byte(first + "\n# made 2031-05-04T03:02:01Z\n# source \"\"\n"))
	f.Fuzz(func(t *testing.T, m []byte) {
		if bytes.Contains(m, []byte("# seal ")) {
			m = reseal(m) // or the seal would keep everything else from being tried
		}
		var files []*File
		h, err := Read(bytes.NewReader(m), func(f *File) error {
			files = append(files, &File{Path: bytes.Clone(f.Path), Size: f.Size, Sums: f.Sums, Read: f.Read, Disk: f.Disk})
			return nil
		})
		if err != nil {
			return
		}
		var again bytes.Buffer
		fixture.Must(t, Write(&again, h, slices.Values(files)))
		if _, err := Read(&again, func(*File) error { return nil }); err != nil {
			t.Fatalf("written again it is refused: %v", err)
		}
	})
}

// A manifest of an older version holds fewer checksums and says nothing of when the source was read.
func TestOlderManifest(t *testing.T) {
	const old = "# Loadline manifest 1. To verify: sha256sum -c THIS-FILE, in the folder of the copy.\n" +
		"# made 2031-05-04T03:02:01Z\n# source \"/media/disk\"\n# prefix \"\"\n# files 2\n# bytes 6\n# not-covered links=0 others=0 clutter=0\n" +
		"# size=3 crc32c=364b3fb7 md5=900150983cd24fb0d6963f7d28e17f72\n" +
		"ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad  a\n" +
		"# size=3 crc32c=364b3fb7\n" +
		"ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad  b\n# seal \n"
	abc := sums.Of(sums.MD5|sums.CRC32C, []byte("abc"))
	n := 0
	if _, err := Read(bytes.NewReader(reseal([]byte(old))), func(f *File) error {
		want := abc
		if n++; n == 2 {
			want = sums.Of(sums.CRC32C, []byte("abc"))
		}
		if f.Sums != want || !f.Read.IsZero() || f.Disk != nil {
			t.Errorf("%s: %+v", f.Path, f)
		}
		return nil
	}); err != nil || n != 2 {
		t.Errorf("%d files, %v", n, err)
	}
}
