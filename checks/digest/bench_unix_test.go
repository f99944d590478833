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
	"loadline/checks/internal/sums"
)

// BenchmarkRead reads 40 files of 50 MB. Compare its MB/s with those of OpenSSL over the same files, as many at a
// time, or on a disk with those of dd with direct I/O; and its s-cpu/GB, which other work on the machine does not
// change much, with user and sys of the same:
//
//	LOADLINE_BENCH=/dev/shm go test -run - -bench Read -benchtime 3x ./checks/digest
//	time ls FOLDER/* | xargs -P 2 -n 20 openssl dgst -sha256
func BenchmarkRead(b *testing.B) {
	dir, err := os.MkdirTemp(os.Getenv("LOADLINE_BENCH"), "loadline-bench-")
	fixture.Must(b, err)
	defer os.RemoveAll(dir)
	const files, each = 40, 50_000_000
	data := make([]byte, each)
	for i := range data {
		data[i] = byte(i ^ i>>8 ^ i>>16)
	}
	for i := range files {
		data[0] = byte(i)
		fixture.WriteFile(b, filepath.Join(dir, fmt.Sprint(i)), string(data))
	}
	list := listOf(b, dir)
	for _, block := range []int{256 << 10, blockDisk, blockLarge} {
		for name, set := range map[string]sums.Set{"SHA-256": 0, "for a manifest": sums.MD5 | sums.CRCs} {
			b.Run(fmt.Sprintf("%s/block=%d", name, block), func(b *testing.B) {
				b.SetBytes(files * each)
				used := cpu(b)
				for b.Loop() {
					r := &Reading{Root: dir, Name: "the disk", Lanes: 2, Deadline: time.Minute, Block: block, Want: func(*File) sums.Set { return set }}
					got, err := read(b, r, list.All())
					if err != nil || len(got) != files {
						b.Fatal(err)
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
