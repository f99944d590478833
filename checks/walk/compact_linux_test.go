package walk

import (
	"bytes"
	"encoding/binary"
	"strings"
	"testing"
	"unsafe"
)

// record is one linux_dirent64 as getdents64(2) describes it.
func record(name string, kind byte) []byte {
	length := (19 + len(name) + 1 + 7) &^ 7
	r := make([]byte, length)
	binary.NativeEndian.PutUint64(r, 1)
	binary.NativeEndian.PutUint16(r[16:], uint16(length))
	r[18] = kind
	copy(r[19:], name)
	return r
}

func TestCompact(t *testing.T) {
	var in, want []byte
	count := 0
	for i, name := range []string{".", "..", "a", "...", ".a", "..a", "\xff\n", strings.Repeat("n", 255), "1234", "12345"} {
		in = append(in, record(name, byte(i))...)
		if name != "." && name != ".." {
			want = append(append(append(want, byte(i)), name...), 0)
			count++
		}
	}
	n, size := compact(in)
	if n != count || !bytes.Equal(in[:size], want) {
		t.Errorf("%d names, %q\nwant %d, %q", n, in[:size], count, want)
	}
}

// FuzzCompact takes any bytes for names: the result must be what went in, less the dots. Records
// that the kernel would never make must do no harm.
func FuzzCompact(f *testing.F) {
	f.Add("a\x00b\x00..\x00.", uint16(24), true)
	f.Add("clip\x00\xff\xfe\x00.x", uint16(3), false)
	f.Fuzz(func(t *testing.T, names string, length uint16, sound bool) {
		var in []byte
		var want []string
		for _, n := range strings.Split(names, "\x00") {
			if n == "" || len(n) > 255 {
				continue
			}
			in = append(in, record(n, 8)...)
			if n != "." && n != ".." {
				want = append(want, n)
			}
		}
		if !sound && len(in) > 18 {
			binary.NativeEndian.PutUint16(in[16:], length)
			n, size := compact(in)
			if size > len(in) || n > len(in) {
				t.Errorf("%d names, %d bytes of %d", n, size, len(in))
			}
			return
		}
		n, size := compact(in)
		var got []string
		for chunk := string(in[:size]); chunk != ""; {
			end := strings.IndexByte(chunk[1:], 0) + 1
			got, chunk = append(got, chunk[1:end]), chunk[end+1:]
		}
		if n != len(want) || strings.Join(got, "\x00") != strings.Join(want, "\x00") {
			t.Errorf("%q, want %q", got, want)
		}
	})
}

// TestEntrySize guards what a folder of a million costs.
func TestEntrySize(t *testing.T) {
	if n := unsafe.Sizeof(Entry{}); n > 80 {
		t.Errorf("an entry takes %d bytes", n)
	}
}
