package seal

import (
	"fmt"
	"io"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"testing"
	"time"

	"loadline/checks/walk"
)

// BenchmarkMillion compares a manifest of a million files with a listing of as many rows, and tells
// the most memory in use, MB. It takes 400 MB of disk.
func BenchmarkMillion(b *testing.B) {
	dir := b.TempDir()
	const n = 1_000_000
	path := func(i int) []byte {
		return fmt.Appendf(nil, "season-%02d/day-%03d/camera-%d/take-%07d-of-the-long-interview.mov", i/100_000, i/1000, i/500%2, i)
	}
	h := &Header{Made: time.Unix(0, 0), Source: "/media/disk", Prefix: "archive", Files: n, Bytes: n * 1000}
	m, l := filepath.Join(dir, "m.sha256"), filepath.Join(dir, "l.csv")
	sums := Sums{HasMD5: true}
	if err := writeNew(m, func(w io.Writer) error {
		return WriteManifest(w, h, func(yield func(*File) bool) {
			for i := range n {
				sums.MD5[0], sums.MD5[1], sums.MD5[2] = byte(i), byte(i>>8), byte(i>>16)
				if !yield(&File{Path: path(i), Size: 1000, Sums: sums}) {
					return
				}
			}
		})
	}); err != nil {
		b.Fatal(err)
	}
	if err := writeNew(l, func(w io.Writer) error {
		if _, err := io.WriteString(w, "Key,Size,ETag\n"); err != nil {
			return err
		}
		for k := range n {
			i := (k * 7919) % n // in no order
			sums.MD5[0], sums.MD5[1], sums.MD5[2] = byte(i), byte(i>>8), byte(i>>16)
			if _, err := fmt.Fprintf(w, "archive/%s,1000,%x\n", path(i), sums.MD5); err != nil {
				return err
			}
		}
		return nil
	}); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		stop := peak()
		rep, err := Arrival(b.Context(), m, []string{l}, ArrivalOptions{}, nil)
		if err != nil || rep.Checks[0].Levels != [3]int{} {
			b.Fatal(err, rep)
		}
		b.ReportMetric(stop(), "MB-peak")
	}
}

// BenchmarkTree fills the table of a million files, as the walk does, and tells the most memory in
// use, MB.
func BenchmarkTree(b *testing.B) {
	for b.Loop() {
		stop := peak()
		tr := &tree{byPath: map[string]int32{}}
		for folder := range 1000 {
			d := &walk.Dir{Path: fmt.Sprintf("season/day-%03d/camera", folder)}
			for i := range 1000 {
				d.Entries = append(d.Entries, walk.Entry{Name: fmt.Sprintf("take-%07d-of-the-long-interview.mov", i), Size: 1000, Inode: uint64(i * 7919 % 1000)})
			}
			tr.addFolder(d)
		}
		if order, sorted := tr.byPosition(), tr.byName(); len(order) != 1_000_000 || len(sorted) != 1_000_000 {
			b.Fatal("not a million")
		}
		b.ReportMetric(stop(), "MB-peak")
	}
}

// peak watches the memory that the runtime holds until the returned function is called.
func peak() func() float64 {
	debug.FreeOSMemory()
	quit, most := make(chan struct{}), make(chan uint64)
	go func() {
		top := uint64(0)
		tick := time.NewTicker(5 * time.Millisecond)
		defer tick.Stop()
		for {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			top = max(top, m.HeapInuse+m.StackInuse)
			select {
			case <-quit:
				most <- top
				return
			case <-tick.C:
			}
		}
	}()
	return func() float64 { close(quit); return float64(<-most) / 1e6 }
}
