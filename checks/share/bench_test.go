//go:build linux

package share

import (
	"bytes"
	"os"
	"testing"
)

// BenchmarkTry is a whole trial on the folder in LOADLINE_BENCH_SHARE, or on a temporary one.
func BenchmarkTry(b *testing.B) {
	folder := os.Getenv("LOADLINE_BENCH_SHARE")
	if folder == "" {
		folder = b.TempDir()
	}
	for b.Loop() {
		r, err := Try(b.Context(), folder, Wishes{Bytes: 16 << 20, Files: 20})
		if err != nil || len(r.Problems) > 0 {
			b.Fatalf("%+v, %v", r, err)
		}
	}
}

func BenchmarkParseMountInfo(b *testing.B) {
	text, err := os.ReadFile(samples + "mountinfo-odd.txt")
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		if _, err := ParseMountInfo(bytes.NewReader(text)); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkGuard(b *testing.B) {
	for b.Loop() {
		if _, err := Guard(b.Context(), 0, func() (int, error) { return 0, nil }); err != nil {
			b.Fatal(err)
		}
	}
}
