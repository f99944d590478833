//go:build unix

package digest

import (
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"loadline/checks/internal/fixture"
)

// BenchmarkRead reads both sides of large files as the check of content does. Compare its MB/s, which
// are those of one side, with sha256sum over the same files and with the disk's own rate, and its
// s-cpu/GB, which other work on the machine does not change much, with user and sys of sha256sum:
//
//	LOADLINE_BENCH=/media/disk go test -bench Read -benchtime 3x ./checks/digest
func BenchmarkRead(b *testing.B) {
	dir := os.Getenv("LOADLINE_BENCH")
	if dir == "" {
		dir = b.TempDir()
	} else {
		var err error
		if dir, err = os.MkdirTemp(dir, "loadline-bench-"); err != nil {
			b.Fatal(err)
		}
		defer os.RemoveAll(dir)
	}
	const files, each = 8, 64 << 20
	data := make([]byte, each)
	for i := range data {
		data[i] = byte(i ^ i>>8 ^ i>>16)
	}
	for i := range files {
		data[0] = byte(i)
		for _, side := range []string{"source", "share"} {
			fixture.WriteFile(b, filepath.Join(dir, side, fmt.Sprint(i)), string(data))
		}
	}
	for _, name := range []string{"source", "both"} {
		for _, withMD5 := range []bool{true, false} {
			b.Run(fmt.Sprintf("%s/md5=%v", name, withMD5), func(b *testing.B) {
				b.SetBytes(files * each)
				used := cpu(b)
				for b.Loop() {
					order := make([]int32, files)
					for i := range order {
						order[i] = int32(i)
					}
					sides := []*Side{
						{Name: "source", Root: filepath.Join(dir, "source"), Lanes: 2, MD5: withMD5},
						{Name: "share", Root: filepath.Join(dir, "share"), Lanes: 4},
					}
					if name == "source" {
						sides = sides[:1]
					}
					done := make(chan error, 2)
					for _, s := range sides {
						s.Deadline, s.Path, s.Recalled = time.Minute, func(i int) string { return fmt.Sprint(i) }, func(int) Ident { return 0 }
						go func() { done <- s.Run(b.Context(), order, func(*Reading) {}) }()
					}
					for range sides {
						if err := <-done; err != nil {
							b.Fatal(err)
						}
					}
				}
				b.ReportMetric((cpu(b)-used)/(float64(b.N)*files*each/1e9), "s-cpu/GB")
			})
		}
	}
}

// cpu is how much time of the processors this process has taken, seconds.
func cpu(b *testing.B) float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}
