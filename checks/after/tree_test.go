package after

import (
	"fmt"
	"testing"

	"loadline/checks/internal/fixture"
	"loadline/checks/walk"
)

func BenchmarkTree(b *testing.B) {
	for b.Loop() {
		stop := fixture.Peak()
		tr := &tree{byPath: map[string]int32{}}
		for folder := range 1000 {
			d := &walk.Dir{Path: fmt.Sprintf("season/day-%03d/camera", folder)}
			for i := range 1000 {
				d.Entries = append(d.Entries, walk.Entry{Name: fmt.Sprintf("take-%07d-of-the-long-interview.mov", i), Size: 1000, Inode: uint64(i * 7919 % 1000)})
			}
			tr.addFolder(d)
		}
		if sorted := tr.byName(); len(sorted) != 1_000_000 {
			b.Fatal("not a million")
		}
		b.ReportMetric(stop(), "MB-peak")
	}
}
