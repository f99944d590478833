package digest

import (
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"loadline/checks/internal/fixture"
	"loadline/checks/internal/sums"
)

// reading reads one file as a side does.
func readOne(t *testing.T, dir, name string) *Reading {
	t.Helper()
	s := &Side{Number: Share, Root: dir, Path: func(int) string { return name }, Place: "test", Lanes: 2, MD5: true, Deadline: 10 * time.Second, Recalled: func(int) Ident { return 0 }}
	var mu sync.Mutex
	var got *Reading
	if err := s.Run(t.Context(), []int32{0}, func(r *Reading) {
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
	r := readOne(t, filepath.Dir(file), filepath.Base(file))
	if r.Err != nil || r.Size != 4096 || r.Got != int64(len(want)) || r.Sums != sums.Of(want) {
		t.Errorf("read %d of %d bytes, %v; want %d", r.Got, r.Size, r.Err, len(want))
	}
}

// Sizes around the edges of blocks: all bytes are read and hashed, whatever the end is aligned to.
func TestEveryLength(t *testing.T) {
	dir := t.TempDir()
	whole := make([]byte, 2*BlockSize+5000)
	for i := range whole {
		whole[i] = byte(i>>12 ^ i)
	}
	for _, n := range []int{0, 1, 511, 512, 4095, 4096, 4097, BlockSize - 1, BlockSize, BlockSize + 1, BlockSize + 4096, 2*BlockSize - 1, 2 * BlockSize, 2*BlockSize + 4999} {
		fixture.WriteFile(t, filepath.Join(dir, "f"), string(whole[:n]))
		r := readOne(t, dir, "f")
		if r.Err != nil || r.Got != int64(n) || r.Changed || r.Sums != sums.Of(whole[:n]) || r.Ident == 0 {
			t.Errorf("%d bytes: got %d, %v, changed %v", n, r.Got, r.Err, r.Changed)
		}
	}
}

// A file that is written to between its first and its last block is told as changed, even if its size
// and what was read stay the same.
func TestChangedWhileRead(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "f")
	fixture.WriteFile(t, path, string(make([]byte, 2*BlockSize)))
	s := &Side{Root: dir, Path: func(int) string { return "f" }, Deadline: 10 * time.Second, Ways: map[string]int64{}, Recalled: func(int) Ident { return 0 }}
	for _, change := range []bool{false, true} {
		free, blocks, ended := make(chan []byte, 2), make(chan block), make(chan error, 1)
		free <- nil
		free <- nil
		go func() { ended <- s.file(t.Context(), 0, free, blocks, nil) }()
		first := <-blocks // the file is open, and its first block was read
		if first.last != nil {
			t.Fatal("all was read in one step")
		}
		if change {
			fixture.Must(t, os.Chtimes(path, time.Time{}, time.Unix(1, 0)))
		}
		last := (<-blocks).last
		if err := <-ended; err != nil || last == nil || last.Changed != change || last.Got != 2*BlockSize {
			t.Errorf("changed %v: %+v, %v", change, last, err)
		}
	}
}
