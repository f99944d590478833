package walk

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"
)

// Benchmarks walk -dir, or a tree of their own: 20,000 empty files in 200 folders. Compare with
// testdata/bench/floor.c on the same tree.
var benchDir = flag.String("dir", "", "folder to walk in benchmarks")

func benchTree(b *testing.B) string {
	b.Helper()
	if *benchDir != "" {
		return *benchDir
	}
	root := b.TempDir()
	for i := range 200 {
		dir := filepath.Join(root, fmt.Sprintf("card%d", i%10), fmt.Sprintf("reel%03d", i))
		if err := os.MkdirAll(dir, 0o755); err != nil {
			b.Fatal(err)
		}
		for j := range 100 {
			if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("A%03d_C%03d_shot.mov", i, j)), nil, 0o644); err != nil {
				b.Fatal(err)
			}
		}
	}
	return root
}

func benchmark(b *testing.B, workers int, sys func(string) system, each func(d *Dir, e *Entry)) {
	b.Helper()
	root := benchTree(b)
	var p Progress
	o := Options{Workers: workers, Progress: &p, Visit: func(d *Dir) {
		if each != nil {
			for i := range d.Entries {
				each(d, &d.Entries[i])
			}
		}
	}}
	o.Resolve(root)
	b.ReportAllocs()
	for b.Loop() {
		if err := run(context.Background(), o, sys(root)); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(p.Entries.Load()), "ns/entry")
}

func BenchmarkWalk(b *testing.B) {
	for _, workers := range []int{1, 2, 4, 16} {
		b.Run(fmt.Sprintf("workers=%d", workers), func(b *testing.B) { benchmark(b, workers, newSystem, nil) })
	}
}

func BenchmarkPortable(b *testing.B) { benchmark(b, 0, newPortable, nil) }

// BenchmarkCloser is the walk with one closer look at every entry.
func BenchmarkCloser(b *testing.B) {
	head := make([]byte, 4)
	for name, each := range map[string]func(d *Dir, e *Entry){
		"Access": func(d *Dir, e *Entry) { _ = d.Access(e.Name) },
		"Xattrs": func(d *Dir, e *Entry) { _, _ = d.Xattrs(e.Name) },
		"Head": func(d *Dir, e *Entry) {
			if e.Kind == File {
				_, _ = d.Head(e.Name, head)
			}
		},
	} {
		b.Run(name, func(b *testing.B) { benchmark(b, 1, newSystem, each) })
	}
}

// BenchmarkDelay is why network file systems get many workers: each folder takes a round trip of
// 1 ms, in time that does pass.
func BenchmarkDelay(b *testing.B) {
	for _, workers := range []int{1, 2, 8, 32} {
		b.Run(fmt.Sprintf("workers=%d", workers), func(b *testing.B) {
			o := Options{Workers: workers, Visit: func(*Dir) { <-time.After(time.Millisecond) }}
			for b.Loop() {
				if err := run(context.Background(), o, &fake{folders: 500}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// allocated returns how often memory is allocated in a walk over root that does each.
func allocated(t *testing.T, root string, each func(d *Dir, e *Entry)) float64 {
	t.Helper()
	return testing.AllocsPerRun(5, func() {
		err := Walk(context.Background(), root, Options{Workers: 1, Visit: func(d *Dir) {
			for i := range d.Entries {
				if each != nil {
					each(d, &d.Entries[i])
				}
			}
		}})
		if err != nil {
			t.Error(err)
		}
	})
}

// TestAllocations: a file costs no allocation, and neither does asking whether it can be read.
func TestAllocations(t *testing.T) {
	if runtime.GOOS != "linux" {
		return // package os allocates
	}
	tr := tree{}
	for i := range 1500 {
		tr[fmt.Sprintf("d/file %d", i)] = ""
	}
	root := tr.make(t)
	for name, each := range map[string]func(d *Dir, e *Entry){
		"walk": nil,
		"Access": func(d *Dir, e *Entry) {
			if err := d.Access(e.Name); err != nil {
				t.Error(err)
			}
		},
		"Xattrs": func(d *Dir, e *Entry) {
			if _, err := d.Xattrs(e.Name); err != nil {
				t.Error(err)
			}
		},
	} {
		if n := allocated(t, root, each); n > 100 {
			t.Errorf("%s: %.0f allocations over 1,500 files", name, n)
		}
	}
}
