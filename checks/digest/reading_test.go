package digest

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"iter"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/internal/fixture"
	"loadline/checks/internal/sums"
	"loadline/checks/walk"
)

const all = sums.MD5 | sums.SHA1 | sums.CRCs

// readingOf is a reading of a folder, with what is remembered of it in state.
func readingOf(t testing.TB, root, state string) *Reading {
	t.Helper()
	places, err := At(t.Context(), root, time.Minute)
	fixture.Must(t, err)
	m, err := Recall(state, places.ID())
	fixture.Must(t, err)
	t.Cleanup(func() { fixture.Must(t, m.Close()) })
	return &Reading{
		Root: root, Name: "the disk", Lanes: 2, Deadline: time.Minute, Places: places, Memory: m,
		Want: func(*File) sums.Set { return all },
	}
}

// listOf lists a folder as a stage does.
func listOf(t testing.TB, root string) *List {
	t.Helper()
	l := &List{}
	t.Cleanup(l.Close)
	fixture.Must(t, walk.Walk(t.Context(), root, walk.Options{Visit: func(d *walk.Dir) {
		l.Add(d, func(*walk.Entry) (int, bool) { return 0, true })
	}}))
	return l
}

// read runs a reading and returns what became of each file, by path.
func read(t testing.TB, r *Reading, files iter.Seq[File]) (map[string]*Result, error) {
	t.Helper()
	got := map[string]*Result{}
	var mu sync.Mutex
	err := r.Run(t.Context(), files, func(res *Result) {
		mu.Lock()
		defer mu.Unlock()
		if got[res.Path] != nil {
			t.Errorf("%s twice", res.Path)
		}
		got[res.Path] = res
	})
	return got, err
}

// Sizes around the edges of blocks: all bytes are read and hashed, whatever the end is aligned to. The sums are
// those of the standard library over the same bytes.
func TestEveryLength(t *testing.T) {
	whole := make([]byte, 2*blockDisk+5000)
	_, _ = rand.NewChaCha8([32]byte{3}).Read(whole) // never fails
	lengths := []int{0, 1, 511, 512, 4095, 4096, 4097, blockDisk - 1, blockDisk, blockDisk + 1, blockDisk + 4096, 2*blockDisk - 1, 2 * blockDisk, 2*blockDisk + 4999}
	for _, block := range []int{0, disk.Align, blockLarge} {
		dir := t.TempDir()
		want := map[string]sums.Sums{}
		for i, n := range lengths {
			name := "d/" + string(rune('a'+i))
			fixture.WriteFile(t, filepath.Join(dir, name), string(whole[:n]))
			want[name] = sums.Of(all, whole[:n])
		}
		for _, seeks := range []bool{false, true} {
			r := readingOf(t, dir, t.TempDir())
			r.Block, r.Seeks = block, seeks
			got, err := read(t, r, listOf(t, dir).All())
			fixture.Must(t, err)
			for name, w := range want {
				if g := got[name]; g == nil || !g.Whole() || g.Sums != w || g.Ident == 0 || g.Known {
					t.Errorf("block %d, seeks %v, %s: %+v", block, seeks, name, g)
				}
			}
			if n := r.Meter.Done.Load(); n != r.Meter.Read.Load() || n == 0 {
				t.Errorf("%d bytes done, %d read", n, r.Meter.Read.Load())
			}
		}
	}
}

// Where seeking costs, files are begun in their order, each when all of the one before is asked for.
func TestInTurn(t *testing.T) {
	dir := t.TempDir()
	for i := range 200 {
		fixture.WriteFile(t, filepath.Join(dir, strconv.Itoa(100+i)), strings.Repeat("x", i%4*disk.Align+1))
	}
	var opened, want []string
	list := listOf(t, dir)
	for f := range list.All() {
		want = append(want, filepath.Join(dir, f.Path))
	}
	r := readingOf(t, dir, "")
	r.Lanes, r.Seeks, r.Block = 1, true, disk.Align
	r.Open = func(path string) (*disk.Reader, error) {
		opened = append(opened, path) // by one lane at a time: the race detector sees to that
		return disk.OpenPast(path)
	}
	got, err := read(t, r, list.All())
	fixture.Must(t, err)
	if len(got) != len(want) || !slices.Equal(opened, want) {
		t.Errorf("%d files read, opened in the order %q", len(got), opened)
	}
}

// What was read is not read again, by whatever name of the folder; what was changed, or lacks a digest that is
// wanted, is.
func TestRemembered(t *testing.T) {
	dir, state := t.TempDir(), t.TempDir()
	for _, n := range []string{"a", "b", "c/d", "c/e"} {
		fixture.WriteFile(t, filepath.Join(dir, n), "content of "+n)
	}
	run := func(root string, change func(*Reading)) (known []string) {
		t.Helper()
		r := readingOf(t, root, state)
		if change != nil {
			change(r)
		}
		got, err := read(t, r, listOf(t, root).All())
		fixture.Must(t, err)
		fixture.Must(t, r.Memory.Close())
		for p, g := range got {
			content, err := os.ReadFile(filepath.Join(root, p))
			fixture.Must(t, err)
			if !g.Whole() || g.Sums.SHA256 != sums.Of(0, content).SHA256 || g.When.IsZero() {
				t.Errorf("%s: %+v", p, g)
			}
			if g.Known {
				known = append(known, p)
			}
		}
		slices.Sort(known)
		return known
	}
	everything := []string{"a", "b", "c/d", "c/e"}
	if got := run(dir, nil); got != nil {
		t.Errorf("the first time, %q are known", got)
	}
	if got := run(dir, nil); !slices.Equal(got, everything) {
		t.Errorf("the second time, %q are known", got)
	}
	if got := run(filepath.Join(dir, "c"), nil); !slices.Equal(got, []string{"d", "e"}) {
		t.Errorf("from a folder below, %q are known", got)
	}
	if got := run(dir, func(r *Reading) { r.Again = func(*Record) bool { return true } }); got != nil {
		t.Errorf("asked to forget, %q are known", got)
	}
	// Other bytes of the same length, with the old date: the date of the status change tells.
	info, err := os.Stat(filepath.Join(dir, "b"))
	fixture.Must(t, err)
	fixture.WriteFile(t, filepath.Join(dir, "b"), "CONTENT of b")
	fixture.Must(t, os.Chtimes(filepath.Join(dir, "b"), time.Time{}, info.ModTime()))
	if got := run(dir, nil); !slices.Equal(got, []string{"a", "c/d", "c/e"}) {
		t.Errorf("after a change, %q are known", got)
	}
	// Remembered with fewer digests than are wanted now.
	fresh := t.TempDir()
	state = fresh
	run(dir, func(r *Reading) { r.Want = nil })
	if got := run(dir, func(r *Reading) { r.Want = func(*File) sums.Set { return sums.MD5 } }); got != nil {
		t.Errorf("without MD5, %q are known", got)
	}
	if got := run(dir, nil); got != nil {
		t.Errorf("without the rest, %q are known", got)
	}
	if got := run(dir, func(r *Reading) { r.Want = nil }); !slices.Equal(got, everything) {
		t.Errorf("with more than is wanted, %q are known", got)
	}
}

// A file that is written to between its first and its last block is reported as changed, even if its size
// and what was read stay the same.
func TestChangedWhileRead(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "f")
	fixture.WriteFile(t, path, strings.Repeat("x", 3*blockDisk))
	for _, change := range []bool{false, true} {
		r := readingOf(t, dir, t.TempDir())
		clock := time.Unix(0, 0)
		var mu sync.Mutex
		looks := 0
		r.Now = func() time.Time { // asked around every block
			mu.Lock()
			defer mu.Unlock()
			if looks++; looks == 4 && change {
				fixture.Must(t, os.Chtimes(path, time.Time{}, time.Unix(1, 0)))
			}
			return clock
		}
		r.Lanes, r.Block = 1, blockDisk
		got, err := read(t, r, listOf(t, dir).All())
		fixture.Must(t, err)
		if g := got["f"]; g.Changed != change || g.Got != 3*blockDisk || g.Whole() == change || looks < 6 {
			t.Errorf("changed %v: %+v after %d looks", change, g, looks)
		}
		if n := r.Memory.out; (n == nil) != change {
			t.Errorf("changed %v: remembered %v", change, n != nil)
		}
	}
}

// A file that is cut short while blocks of it are on their way is reported as changed; none of their memory is lost to
// the files after it.
func TestCutShortWhileRead(t *testing.T) {
	dir := t.TempDir()
	for i := range 20 {
		fixture.WriteFile(t, filepath.Join(dir, strconv.Itoa(100+i)), strings.Repeat("x", 5*disk.Align))
	}
	r := readingOf(t, dir, "")
	r.Lanes, r.Block = 1, disk.Align
	var path string
	r.Open = func(p string) (*disk.Reader, error) {
		path = p
		return disk.OpenPast(p)
	}
	clock := time.Unix(0, 0)
	r.Now = func() time.Time { // asked when a file is open and nothing of it is read, among others
		if p := path; p != "" {
			path = ""
			fixture.Must(t, os.Truncate(p, disk.Align+1000))
		}
		return clock
	}
	got, err := read(t, r, listOf(t, dir).All())
	fixture.Must(t, err)
	for name, g := range got {
		if g.Whole() || !g.Changed || g.Got != disk.Align+1000 {
			t.Errorf("%s: %+v", name, g)
		}
	}
	if len(got) != 20 {
		t.Errorf("%d files", len(got))
	}
}

// Of reads that overlap each counts from when the one before it ended, so that no time counts twice.
func TestStretches(t *testing.T) {
	at := func(ms int) time.Time { return time.Unix(0, 0).Add(time.Duration(ms) * time.Millisecond) }
	r := &Result{}
	s := stretcher{r: r, size: 20}
	for _, read := range []struct{ began, came int }{
		{0, 10}, {5, 30}, // overlapping: 10 and 20
		{40, 50}, {41, 45}, // after a rest; the second had come before the first: 10 and none
		{60, 65}, // what is left belongs to the last
	} {
		s.add(10, at(read.began), at(read.came))
	}
	s.end()
	want := []Stretch{
		{Part{0, 20}, 30 * time.Millisecond},
		{Part{20, 30}, 15 * time.Millisecond},
	}
	if !slices.Equal(r.Stretches, want) {
		t.Errorf("%+v, want %+v", r.Stretches, want)
	}
}

// Empty files say nothing of a disk: they do not end a row of errors.
func TestDyingDiskOfEmptyFiles(t *testing.T) {
	dir := t.TempDir()
	for i := range 60 {
		fixture.WriteFile(t, filepath.Join(dir, strconv.Itoa(100+i)), strings.Repeat("x", i%3))
	}
	r := readingOf(t, dir, "")
	r.Lanes = 1
	r.Open = func(path string) (*disk.Reader, error) {
		if info, err := os.Stat(path); err != nil || info.Size() > 0 {
			return nil, errBroken
		}
		return disk.OpenPast(path)
	}
	got, err := read(t, r, listOf(t, dir).All())
	if !errors.Is(err, ErrDying) || len(got) > 2*mostErrors {
		t.Errorf("%d files, then %v", len(got), err)
	}
}

// A row of files that cannot be read ends the reading; a few do not, and neither do those that somebody has no
// right to or that are gone.
func TestDyingDisk(t *testing.T) {
	dir := t.TempDir()
	for i := range 60 {
		fixture.WriteFile(t, filepath.Join(dir, strconv.Itoa(100+i)), "x")
	}
	for name, tc := range map[string]struct {
		err  func(i int) error
		want error
		done int
	}{
		"all is well":       {func(int) error { return nil }, nil, 60},
		"every other":       {func(i int) error { return errorAt(i%2 == 0, errBroken) }, nil, 60},
		"fifteen in a row":  {func(i int) error { return errorAt(i%16 != 0, errBroken) }, nil, 60},
		"from the tenth on": {func(i int) error { return errorAt(i >= 10, errBroken) }, ErrDying, 10 + mostErrors},
		"none is there":     {func(int) error { return os.ErrNotExist }, nil, 60},
		"none may be read":  {func(int) error { return os.ErrPermission }, nil, 60},
	} {
		r := readingOf(t, dir, "")
		r.Lanes = 1
		i := -1
		r.Open = func(path string) (*disk.Reader, error) {
			i++
			if err := tc.err(i); err != nil {
				return nil, err
			}
			return disk.OpenPast(path)
		}
		got, err := read(t, r, listOf(t, dir).All())
		if !errors.Is(err, tc.want) || (err == nil) != (tc.want == nil) || len(got) != tc.done {
			t.Errorf("%s: %v after %d files, want %v after %d", name, err, len(got), tc.want, tc.done)
		}
	}
}

var errBroken = errors.New("broken")

func errorAt(bad bool, err error) error {
	if bad {
		return err
	}
	return nil
}

// A folder that is replaced while it is read is a disk that is gone, as after umount -l.
func TestGone(t *testing.T) {
	base := t.TempDir()
	dir := filepath.Join(base, "disk")
	for i := range 10 {
		fixture.WriteFile(t, filepath.Join(dir, string(rune('A'+i))), "x")
	}
	r := readingOf(t, dir, "")
	r.Lanes = 1
	n := 0
	r.Open = func(path string) (*disk.Reader, error) {
		if n++; n == 4 {
			fixture.Must(t, os.Rename(dir, dir+" elsewhere"))
			fixture.Must(t, os.Mkdir(dir, 0o755))
		}
		return disk.OpenPast(path)
	}
	got, err := read(t, r, listOf(t, dir).All())
	if !errors.Is(err, ErrGone) || len(got) != 3 {
		t.Errorf("%v after %d files", err, len(got))
	}
}

// Stop ends a reading at once, and what was read is remembered.
func TestStopAndGoOn(t *testing.T) {
	dir, state := t.TempDir(), t.TempDir()
	for i := range 20 {
		fixture.WriteFile(t, filepath.Join(dir, string(rune('A'+i))), strings.Repeat("x", i))
	}
	ctx, cancel := context.WithCancel(t.Context())
	r := readingOf(t, dir, state)
	n := 0
	r.Lanes = 1
	err := r.Run(ctx, listOf(t, dir).All(), func(*Result) {
		if n++; n == 7 {
			cancel()
		}
	})
	if !errors.Is(err, context.Canceled) || n < 7 || n == 20 {
		t.Fatalf("%v after %d", err, n)
	}
	fixture.Must(t, r.Memory.Close())
	again := readingOf(t, dir, state)
	got, err := read(t, again, listOf(t, dir).All())
	fixture.Must(t, err)
	if len(got) != 20 || again.Known() != int64(n) {
		t.Errorf("%d files, %d of them known, want %d", len(got), again.Known(), n)
	}
}

// Two readings of one disk at once, with one state folder, both end right; a third finds what either read. Each
// has to have read something before the other goes on.
func TestTwoAtOnce(t *testing.T) {
	dir, state := t.TempDir(), t.TempDir()
	want := map[string]sums.Sums{}
	for i := range 60 {
		name, content := "d/"+strconv.Itoa(i), fixture.Noise(byte(i), 1000*i)
		fixture.WriteFile(t, filepath.Join(dir, name), string(content))
		want[name] = sums.Of(all, content)
	}
	var ours [2]*Reading
	var lists [2]*List
	for i := range ours {
		ours[i], lists[i] = readingOf(t, dir, state), listOf(t, dir)
	}
	judge := func(who int, f *Result) {
		if !f.Whole() || f.Sums != want[f.Path] {
			t.Errorf("reading %d, %s: %+v", who, f.Path, f)
		}
	}
	var both, done sync.WaitGroup
	both.Add(len(ours))
	for i, r := range ours {
		done.Go(func() {
			arrive := sync.OnceFunc(both.Done)
			defer arrive()
			n := atomic.Int64{}
			err := r.Run(t.Context(), lists[i].All(), func(f *Result) {
				arrive()
				both.Wait()
				n.Add(1)
				judge(i, f)
			})
			if err != nil || n.Load() != int64(len(want)) {
				t.Errorf("reading %d: %d files, %v", i, n.Load(), err)
			}
			if err := r.Memory.Close(); err != nil {
				t.Error(err)
			}
		})
	}
	done.Wait()
	third, err := read(t, readingOf(t, dir, state), listOf(t, dir).All())
	fixture.Must(t, err)
	for name := range want {
		if f := third[name]; f == nil || !f.Known {
			t.Errorf("%s is not remembered: %+v", name, f)
			continue
		}
		judge(3, third[name])
	}
}

// The list gives back what it was given: in the bytewise order of paths, which is that of sort(1) in the C
// locale, and in whatever other order all of it.
func TestListOrders(t *testing.T) {
	dir := t.TempDir()
	var want []string
	for _, n := range []string{"a", "a.c", "a b/x", "b/1", "b/a/z", "b/a.txt", "b/aa/y", "b-/q", "b", "é/ü", "z", "b/a/.x", "c/d/e/f", "c/d.e"} {
		if n == "b" {
			continue
		}
		want = append(want, n)
		fixture.WriteFile(t, filepath.Join(dir, n), strings.Repeat("x", len(n)))
	}
	fixture.WriteFile(t, filepath.Join(dir, "c/large"), strings.Repeat("x", largeFrom))
	want = append(want, "c/large")
	slices.Sort(want)
	l := listOf(t, dir)
	var sorted []string
	for f := range l.Sorted() {
		sorted = append(sorted, f.Path)
		if f.Size != int64(len(f.Path)) && f.Size != largeFrom {
			t.Errorf("%s has %d bytes", f.Path, f.Size)
		}
	}
	if !slices.Equal(sorted, want) {
		t.Errorf("sorted: %q\nwant    %q", sorted, want)
	}
	for name, files := range map[string]iter.Seq[File]{"folders": l.All(), "disk": l.InDiskOrder(t.Context(), dir, time.Minute)} {
		var got []string
		for f := range files {
			got = append(got, f.Path)
		}
		if name == "disk" && got[0] != "c/large" {
			t.Errorf("the large file comes after %q", got[0])
		}
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("%s: %q", name, got)
		}
	}
	// Marks stay with their files.
	for f := range l.All() {
		if f.Size%2 == 0 {
			l.Mark(&f, Mark{Done: true, SHA256: [32]byte{byte(len(f.Path))}})
		}
	}
	for f, m := range l.Sorted() {
		if m.Done != (f.Size%2 == 0) || m.Done && m.SHA256[0] != byte(len(f.Path)) {
			t.Errorf("%s: %+v", f.Path, m)
		}
	}
}

// A list that outgrows memory, and one that cannot be put into a file, hold all the same.
func TestSpool(t *testing.T) {
	for _, name := range []string{"file", "no file", "a full disk"} {
		t.Run(name, func(t *testing.T) {
			if name == "no file" {
				t.Setenv("TMPDIR", filepath.Join(t.TempDir(), "none"))
			}
			s := &spool{}
			defer s.close()
			r := rand.New(rand.NewPCG(1, 2))
			var whole []byte
			for i := range 400 {
				b := bytes.Repeat([]byte{byte(i)}, 1+r.IntN(70_000))
				if at := s.add(b); at != int64(len(whole)) {
					t.Fatalf("added at %d, want %d", at, len(whole))
				}
				whole = append(whole, b...)
				if name == "a full disk" && i == 250 {
					_ = s.file.Close() // writing fails from now on, and so does reading
					f, err := os.Open(filepath.Join(t.TempDir(), ".."))
					fixture.Must(t, err)
					defer f.Close()
					copyOf := filepath.Join(t.TempDir(), "copy")
					fixture.Must(t, os.WriteFile(copyOf, whole[:s.filed], 0o600))
					s.file, err = os.Open(copyOf) // not for writing
					fixture.Must(t, err)
				}
				if i%7 == 0 {
					at := r.Int64N(int64(len(whole)) - 10)
					if name != "a full disk" || i < 250 {
						_, err := s.WriteAt([]byte("0123456789"), at)
						fixture.Must(t, err)
						copy(whole[at:], "0123456789")
					}
				}
				at := r.Int64N(int64(len(whole)))
				p := make([]byte, min(int64(10_000), int64(len(whole))-at))
				if n, err := s.ReadAt(p, at); err != nil || n != len(p) || !bytes.Equal(p, whole[at:at+int64(n)]) {
					t.Fatalf("after %d: %d of %d bytes at %d: %v", i, n, len(p), at, err)
				}
			}
		})
	}
}

// The rate over a run never takes more than its points, and their areas are those of what was read.
func TestCurve(t *testing.T) {
	var c curve
	now := time.Unix(0, 0)
	const step, rate = 1 << 20, 100 << 20
	for i := int64(1); i <= 1<<18; i++ {
		now = now.Add(time.Second * step / rate)
		c.add(i*step, now)
	}
	if len(c.points) < mostPoints/4 || len(c.points) > mostPoints {
		t.Fatalf("%d points", len(c.points))
	}
	if !slices.IsSortedFunc(c.points, func(a, b Point) int { return cmp.Compare(a.At, b.At) }) {
		t.Error("not in order")
	}
	for _, p := range c.points {
		if p.Rate < 0.99*rate || p.Rate > 1.01*rate {
			t.Fatalf("%+v", p)
		}
	}
}
