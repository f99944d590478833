package seal

import (
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"loadline/checks/walk"
)

// reading reads one file as a side does.
func readOne(t *testing.T, dir, name string, size int64) *reading {
	t.Helper()
	tr := &tree{byPath: map[string]int32{}}
	tr.addFolder(&walk.Dir{Entries: []walk.Entry{{Name: name, Size: size, Kind: walk.File}}})
	s := &side{number: shareSide, root: dir, place: "test", lanes: 2, md5: true, deadline: 10 * time.Second, recalled: func(int) ident { return 0 }}
	var mu sync.Mutex
	var got *reading
	if err := s.run(t.Context(), tr, tr.byPosition(), func(r *reading) {
		mu.Lock()
		defer mu.Unlock()
		got = r
	}); err != nil {
		t.Fatal(err)
	}
	if got == nil {
		t.Fatal("nothing was read")
	}
	return got
}

// Files of sysfs tell 4,096 bytes and give fewer (kernel, Documentation/filesystems/sysfs.rst): so
// does a share that ran full in the middle of a file. They refuse O_DIRECT, too.
func TestFewerBytesThanTold(t *testing.T) {
	const file = "/sys/devices/system/cpu/online"
	info, err := os.Stat(file)
	if err != nil || info.Size() != 4096 {
		t.Fatalf("%s is not as it should be: %v", file, err)
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	r := readOne(t, filepath.Dir(file), filepath.Base(file), 4096)
	if r.err != nil || r.size != 4096 || r.got != int64(len(want)) || r.sums != sumsOf(want) {
		t.Errorf("read %d of %d bytes, %v; want %d", r.got, r.size, r.err, len(want))
	}
}

// Sizes around the edges of blocks: all bytes are read and hashed, whatever the end is aligned to.
func TestEveryLength(t *testing.T) {
	dir := t.TempDir()
	whole := make([]byte, 2*blockSize+5000)
	for i := range whole {
		whole[i] = byte(i>>12 ^ i)
	}
	for _, n := range []int{0, 1, 511, 512, 4095, 4096, 4097, blockSize - 1, blockSize, blockSize + 1, blockSize + 4096, 2*blockSize - 1, 2 * blockSize, 2*blockSize + 4999} {
		write(t, filepath.Join(dir, "f"), string(whole[:n]))
		r := readOne(t, dir, "f", int64(n))
		if r.err != nil || r.got != int64(n) || r.changed || r.sums != sumsOf(whole[:n]) || r.ident == 0 {
			t.Errorf("%d bytes: got %d, %v, changed %v", n, r.got, r.err, r.changed)
		}
	}
}
