package arrival

import (
	"fmt"
	"io"
	"path/filepath"
	"testing"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/internal/fixture"
	"loadline/checks/internal/sums"
	"loadline/checks/manifest"
)

// BenchmarkMillion compares a manifest of a million files with a listing of as many rows, and tells
// the most memory in use, MB. It takes 400 MB of disk.
func BenchmarkMillion(b *testing.B) {
	dir := b.TempDir()
	const n = 1_000_000
	path := func(i int) []byte {
		return fmt.Appendf(nil, "season-%02d/day-%03d/camera-%d/take-%07d-of-the-long-interview.mov", i/100_000, i/1000, i/500%2, i)
	}
	h := &manifest.Header{Made: time.Unix(0, 0), Source: "/media/disk", Prefix: "archive", Files: n, Bytes: n * 1000}
	m, l := filepath.Join(dir, "m.sha256"), filepath.Join(dir, "l.csv")
	sums := sums.Sums{Has: sums.MD5}
	if err := disk.WriteNew(m, func(w io.Writer) error {
		return manifest.Write(w, h, func(yield func(*manifest.File) bool) {
			for i := range n {
				sums.MD5[0], sums.MD5[1], sums.MD5[2] = byte(i), byte(i>>8), byte(i>>16)
				if !yield(&manifest.File{Path: path(i), Size: 1000, Sums: sums}) {
					return
				}
			}
		})
	}); err != nil {
		b.Fatal(err)
	}
	if err := disk.WriteNew(l, func(w io.Writer) error {
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
		stop := fixture.Peak()
		rep, err := Run(b.Context(), m, []string{l}, Options{}, nil)
		if err != nil || rep.Checks[0].Levels != [3]int{} {
			b.Fatal(err, rep)
		}
		b.ReportMetric(stop(), "MB-peak")
	}
}

// BenchmarkTree fills the table of a million files, as the walk does, and tells the most memory in
// use, MB.
