package seal

import (
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"loadline/checks"
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

// A file that is written to between its first and its last block is told as changed, even if its size
// and what was read stay the same.
func TestChangedWhileRead(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "f")
	write(t, path, string(make([]byte, 2*blockSize)))
	tr := &tree{byPath: map[string]int32{}}
	tr.addFolder(&walk.Dir{Entries: []walk.Entry{{Name: "f", Size: 2 * blockSize}}})
	s := &side{root: dir, deadline: 10 * time.Second, ways: map[string]int64{}, recalled: func(int) ident { return 0 }}
	for _, change := range []bool{false, true} {
		free, blocks, ended := make(chan []byte, 2), make(chan block), make(chan error, 1)
		free <- nil
		free <- nil
		go func() { ended <- s.file(t.Context(), tr, 0, free, blocks, nil) }()
		first := <-blocks // the file is open, and its first block was read
		if first.last != nil {
			t.Fatal("all was read in one step")
		}
		if change {
			must(t, os.Chtimes(path, time.Time{}, time.Unix(1, 0)))
		}
		last := (<-blocks).last
		if err := <-ended; err != nil || last == nil || last.changed != change || last.got != 2*blockSize {
			t.Errorf("changed %v: %+v, %v", change, last, err)
		}
	}
}

// A reading that is not whole is never compared, and is told by the rule of its side.
func TestUnstable(t *testing.T) {
	for _, tc := range []struct {
		side int
		r    reading
		rule string
	}{
		{shareSide, reading{size: 4096, got: 5}, "short-on-share"},
		{sourceSide, reading{size: 4096, got: 5}, "unreadable-source"},
		{shareSide, reading{size: 4096, got: 4096, changed: true}, "still-copying"},
		{sourceSide, reading{size: 4096, got: 4096, changed: true}, "source-changed"},
		{shareSide, reading{size: 5000, got: 5000}, "still-copying"},
		{sourceSide, reading{size: 5000, got: 5000}, "source-changed"},
		{shareSide, reading{size: 4096, got: 4096}, ""},
		{sourceSide, reading{size: 4096, got: 4096}, ""},
	} {
		stage := NewAfter(Options{})
		c := &comparing{after: stage.a, pass: checks.NewPass(stage.List()[2], &checks.Job{}, 1)}
		bad := c.unstable(&side{number: tc.side}, &entry{size: 4096}, &tc.r, "f")
		res := c.pass.Close("")
		if bad != (tc.rule != "") || bad && (len(res.Findings) != 1 || res.Findings[0].Rule.ID != tc.rule || res.Status != checks.Failed) {
			t.Errorf("side %d, %+v: %v, %+v, want %q", tc.side, tc.r, bad, res.Findings, tc.rule)
		}
		// Two equal sizes are no explanation.
		if tc.r.changed && !strings.Contains(res.Findings[0].Detail, "written to while it was checked; its size is the same") {
			t.Errorf("says %q", res.Findings[0].Detail)
		}
	}
}
