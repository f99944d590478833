package disk

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"loadline/checks/internal/fixture"
)

// BenchmarkOpenPast is what passing the cache costs a small file, against a plain reading of it.
func BenchmarkOpenPast(b *testing.B) {
	dir := b.TempDir()
	const files = 1000
	for i := range files {
		fixture.Must(b, os.WriteFile(filepath.Join(dir, fmt.Sprint(i)), noise(3000), 0o644))
	}
	buf := Buffer(64 << 10)
	b.Run("past", func(b *testing.B) {
		for i := range b.N {
			r, err := OpenPast(filepath.Join(dir, fmt.Sprint(i%files)))
			fixture.Must(b, err)
			if n, _ := r.ReadAt(buf, 0); n != 3000 {
				b.Fatal(n)
			}
			fixture.Must(b, r.Close())
		}
	})
	b.Run("plain", func(b *testing.B) {
		for i := range b.N {
			f, err := os.Open(filepath.Join(dir, fmt.Sprint(i%files)))
			fixture.Must(b, err)
			if n, _ := f.Read(buf); n != 3000 {
				b.Fatal(n)
			}
			fixture.Must(b, f.Close())
		}
	})
}
