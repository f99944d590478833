package walk

import (
	"encoding/binary"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"slices"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
)

// A macReply writes what getattrlistbulk(2) answers, after its manual page: each group of attributes begins with its
// length and a struct attribute_set, fixed attributes follow in the order of their bits and are four bytes aligned, and
// text stands behind them, aligned to four bytes; a group is padded to eight. Numbers are those of sys/attr.h,
// written down here a second time.
type macReply struct{ out []byte }

type macAttr struct {
	group, bit int // 0 common, 2 folder, 3 file; place of the bit
	value      any // uint32, uint64, [2]uint64, or text
}

func (r *macReply) add(attrs ...macAttr) {
	var set [5]uint32
	set[0] = 1 << 31 // ATTR_CMN_RETURNED_ATTRS
	var fixed, texts []byte
	type ref struct{ at, text int }
	var refs []ref
	for _, a := range attrs {
		set[a.group] |= 1 << a.bit
		switch v := a.value.(type) {
		case uint32:
			fixed = binary.LittleEndian.AppendUint32(fixed, v)
		case uint64:
			fixed = binary.LittleEndian.AppendUint64(fixed, v)
		case [2]uint64:
			fixed = binary.LittleEndian.AppendUint64(fixed, v[0])
			fixed = binary.LittleEndian.AppendUint64(fixed, v[1])
		case string:
			refs = append(refs, ref{len(fixed), len(texts)})
			fixed = binary.LittleEndian.AppendUint32(fixed, 0)
			fixed = binary.LittleEndian.AppendUint32(fixed, uint32(len(v)+1))
			texts = append(texts, v...)
			texts = append(texts, make([]byte, 4-len(v)%4)...)
		}
	}
	for _, f := range refs {
		binary.LittleEndian.PutUint32(fixed[f.at:], uint32(len(fixed)-f.at+f.text))
	}
	size := 4 + 20 + len(fixed) + len(texts)
	size += -size & 7
	group := binary.LittleEndian.AppendUint32(nil, uint32(size))
	for _, s := range set {
		group = binary.LittleEndian.AppendUint32(group, s)
	}
	group = append(append(group, fixed...), texts...)
	r.out = append(r.out, group...)
	r.out = append(r.out, make([]byte, size-len(group))...)
}

// entry is what the kernel would say of a file of this system.
func (r *macReply) entry(name string, st *unix.Stat_t, flags uint32, mounted bool) {
	kind := map[uint32]uint32{unix.S_IFREG: 1, unix.S_IFDIR: 2, unix.S_IFBLK: 3, unix.S_IFCHR: 4, unix.S_IFLNK: 5, unix.S_IFSOCK: 6, unix.S_IFIFO: 7}[st.Mode&unix.S_IFMT]
	attrs := []macAttr{
		{0, 0, name},
		{0, 1, uint32(st.Dev)},
		{0, 3, kind},
		{0, 10, [2]uint64{uint64(st.Mtim.Sec), uint64(st.Mtim.Nsec)}},
		{0, 11, [2]uint64{uint64(st.Ctim.Sec), uint64(st.Ctim.Nsec)}},
		{0, 15, st.Uid},
		{0, 16, st.Gid},
		{0, 17, st.Mode},
		{0, 18, flags},
		{0, 25, st.Ino},
	}
	links, allocated, block, size := uint32(st.Nlink), uint64(st.Blocks*512), uint32(st.Blksize), uint64(st.Size)
	if kind == 2 {
		status := uint32(0)
		if mounted {
			status = 1 // DIR_MNTSTATUS_MNTPOINT
		}
		attrs = append(attrs, macAttr{2, 0, links}, macAttr{2, 2, status}, macAttr{2, 3, allocated}, macAttr{2, 4, block}, macAttr{2, 5, size})
	} else {
		attrs = append(attrs, macAttr{3, 0, links}, macAttr{3, 2, allocated}, macAttr{3, 3, block}, macAttr{3, 9, size})
	}
	r.add(attrs...)
}

// askLikeAMac answers as getattrlistbulk(2) does, of folders of this system.
func askLikeAMac(f *os.File, buf []byte) (int, error) {
	var self unix.Stat_t
	if err := unix.Fstat(int(f.Fd()), &self); err != nil {
		return 0, err
	}
	list, err := f.Readdirnames(100)
	if err != nil && !errors.Is(err, io.EOF) {
		return 0, err
	}
	var r macReply
	for _, name := range list {
		var st unix.Stat_t
		if err := unix.Fstatat(int(f.Fd()), name, &st, unix.AT_SYMLINK_NOFOLLOW); err != nil {
			var errno unix.Errno
			errors.As(err, &errno)
			r.add(macAttr{0, 29, uint32(errno)}, macAttr{0, 0, name})
			continue
		}
		r.entry(name, &st, 0, st.Dev != self.Dev)
	}
	return len(list), errOrNil(copy(buf, r.out) == len(r.out))
}

func errOrNil(fits bool) error {
	if fits {
		return nil
	}
	return unix.ERANGE
}

// One entry, its bytes laid out by hand after getattrlistbulk(2) and sys/attr.h.
func TestDecodeBulkByHand(t *testing.T) {
	raw := strings.Join([]string{
		"80000000",                                                 // length, 128
		"0b8c0782", "00000000", "00000000", "0d020000", "00000000", // what was returned
		"60000000", "06000000", // name: 96 bytes from here, 6 with its NUL
		"04000001", "01000000", // device, VREG
		"8047685200000000", "15cd5b0700000000", // 2013-10-23T22:00:00Z, 123456789 ns
		"8147685200000000", "0000000000000000", // changed a second later
		"f5010000", "14000000", // owner 501, group 20
		"a4810000", "20000040", // 0100644; UF_COMPRESSED, SF_DATALESS
		"0700000001000000", // file ID 1<<32 + 7
		"02000000",         // links
		"0010000000000000", // allocated 4096
		"00001000",         // 1 MiB blocks
		"0000000100000000", // 16 MiB long
		"c3a92e6d00000000", // e with an acute accent, .m
	}, "")
	b, err := hex.DecodeString(raw)
	if err != nil {
		t.Fatal(err)
	}
	binary.LittleEndian.PutUint32(b, uint32(len(b)))
	got, err := decodeBulk(b, 1)
	if err != nil {
		t.Fatal(err)
	}
	want := Entry{
		Name: "\u00e9.m", Size: 16 << 20, Blocks: 8, Inode: 1<<32 + 7, Sec: 1382565760, Nsec: 123456789, BlockSize: 1 << 20, Links: 2,
		UID: 501, GID: 20, Stamp: StampOf(1382565761e9), Perm: 0o644, Kind: File, Compressed: true, Dataless: true,
	}
	if got[0].Entry != want || got[0].device != 0x01000004 || got[0].again || got[0].errno != 0 {
		t.Errorf("%+v\nwant %+v", got[0], want)
	}
}

// What is not all answered, mounted over, or a firmlink is looked at by itself; an error is told.
func TestDecodeBulk(t *testing.T) {
	st := unix.Stat_t{Mode: unix.S_IFDIR | 0o755, Size: 64, Nlink: 3, Ino: 9}
	file := unix.Stat_t{Mode: unix.S_IFREG | 0o600, Size: 5, Nlink: 1, Ino: 10}
	var r macReply
	r.entry("folder", &st, 0, false)
	r.entry("mounted", &st, 0, true)
	r.entry("firm", &st, 1<<23, false)
	r.entry("file", &file, 0, false)
	r.add(macAttr{0, 0, "bare"}, macAttr{0, 3, uint32(1)})
	r.add(macAttr{0, 29, uint32(13)}, macAttr{0, 0, "denied"})
	got, err := decodeBulk(r.out, 6)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct {
		name  string
		again bool
		errno uint32
	}{{"folder", false, 0}, {"mounted", true, 0}, {"firm", true, 0}, {"file", false, 0}, {"bare", true, 0}, {"denied", true, 13}} {
		if e := got[i]; e.Name != want.name || e.again != want.again || e.errno != want.errno {
			t.Errorf("entry %d: %+v, want %+v", i, e, want)
		}
	}
	for name, spoil := range map[string]func(b []byte){
		"cut off":          func(b []byte) { binary.LittleEndian.PutUint32(b, 1<<20) },
		"no length":        func(b []byte) { clear(b[:4]) },
		"not asked for":    func(b []byte) { b[4] |= 0x20 },
		"name outside":     func(b []byte) { binary.LittleEndian.PutUint32(b[24:], 1<<30) },
		"name before":      func(b []byte) { binary.LittleEndian.PutUint32(b[24:], 1<<31) },
		"name without end": func(b []byte) { binary.LittleEndian.PutUint32(b[28:], 1<<31-1) },
		"name with slash":  func(b []byte) { b[len(b)-8] = '/' },
	} {
		var r macReply
		r.entry("folder", &st, 0, false)
		spoil(r.out)
		if got, err := decodeBulk(r.out, 1); err == nil {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// The request as it stands in memory: five groups, then bits of sys/attr.h as its manual pages name them.
func TestBulkRequest(t *testing.T) {
	r := bulkRequest()
	if got, want := hex.EncodeToString(r[:]), "05000000"+"0b8c07a2"+"00000000"+"3d000000"+"0d020000"+"00000000"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

func FuzzDecodeBulk(f *testing.F) {
	var r macReply
	r.entry("folder", &unix.Stat_t{Mode: unix.S_IFDIR}, 0, true)
	r.entry("file", &unix.Stat_t{Mode: unix.S_IFREG, Size: 7}, flagDataless, false)
	f.Add(r.out, 2)
	f.Fuzz(func(t *testing.T, b []byte, n int) {
		all, err := decodeBulk(b, max(0, min(n, 1000)))
		for _, e := range all {
			if e.Name == "" || strings.ContainsAny(e.Name, "/\x00") || e.Size < 0 {
				t.Fatalf("%+v, %v", e, err)
			}
		}
	})
}

// A file system or an answer that is not up to it costs nothing but time.
func TestBulkFallsBack(t *testing.T) {
	root := tree{"a/b": "1", "c": "22"}.make(t)
	for name, ask := range map[string]func(*os.File, []byte) (int, error){
		"not supported": func(*os.File, []byte) (int, error) { return 0, unix.ENOTSUP },
		"nonsense":      func(_ *os.File, buf []byte) (int, error) { clear(buf); return 3, nil },
		"nonsense later": func(f *os.File, buf []byte) (int, error) {
			if _, err := f.Seek(0, io.SeekCurrent); err != nil {
				return 0, err
			}
			n, err := askLikeAMac(f, buf)
			if n == 0 {
				clear(buf)
				return 1, nil
			}
			return n, err
		},
	} {
		s := walkAll(t, root, func(root string) system { return &bulk{portable: portable{root}, ask: ask} })
		if got := s.names(); !slices.Equal(got, []string{"a/", "a/b", "c"}) {
			t.Errorf("%s: %q", name, got)
		}
	}
}

// A listing that breaks off is told, with what came before.
func TestBulkBreaksOff(t *testing.T) {
	root := tree{"a": "1"}.make(t)
	calls := 0
	s := walkAll(t, root, func(root string) system {
		return &bulk{portable: portable{root}, ask: func(f *os.File, buf []byte) (int, error) {
			if calls++; calls > 1 {
				return 0, unix.EIO
			}
			return askLikeAMac(f, buf)
		}}
	})
	if got := s.names(); !slices.Equal(got, []string{"a"}) || !errors.Is(s.folders[""].Err, unix.EIO) {
		t.Errorf("%q, %v", got, s.folders[""].Err)
	}
}
