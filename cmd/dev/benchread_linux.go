package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"time"

	"golang.org/x/sys/unix"
)

const (
	readFiles = 40
	readBytes = 2_000_000_000 // in all of them
	// readLanes is how many programs compute digests at once, and how many cores everything runs on.
	readLanes = 2
	memoryDir = "/dev/shm"
	maxCores  = 1024 // that a CPUSet holds
)

// readScripts are what the command is compared with. $1 is the folder of the files, $2, where there is one, that
// of their copies. The digests are computed by two programs side by side, each over half of the files.
var readScripts = struct{ sha256, both, dd string }{
	sha256: `cd "$1" && { openssl dgst -sha256 */*[02468].mov & a=$!; openssl dgst -sha256 */*[13579].mov & b=$!; wait $a && wait $b; }`,
	both: `half() { openssl dgst -sha256 "$1"/$3 "$2"/$3 && openssl dgst -md5 "$2"/$3; }
half "$1" "$2" '*/*[02468].mov' & a=$!; half "$1" "$2" '*/*[13579].mov' & b=$!; wait $a && wait $b`,
	dd: `cd "$1" && for f in */*.mov; do dd if="$f" of=/dev/null iflag=direct bs=4M status=none || exit; done`,
}

// benchRead measures how fast files are read: from memory beside OpenSSL, from a disk beside dd.
func benchRead(ctx context.Context, work, command string, runs int, quick bool) (err error) {
	for _, name := range []string{"openssl", "dd", "taskset"} {
		if _, err := exec.LookPath(name); err != nil {
			return fmt.Errorf("install %s first: it is compared with, or needed for that: %w", name, err)
		}
	}
	var fs unix.Statfs_t
	if err := unix.Statfs(memoryDir, &fs); err != nil || fs.Type != unix.TMPFS_MAGIC {
		return fmt.Errorf("%s is no memory that holds files (%v)", memoryDir, err)
	}
	total := readBytes
	if quick {
		total /= 100
	}
	memory, err := os.MkdirTemp(memoryDir, "loadline-bench-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(memory)) }()
	source, share, onDisk := filepath.Join(memory, "source"), filepath.Join(memory, "share"), filepath.Join(work, "footage")
	for _, dir := range []string{source, share, onDisk} {
		if err := footage(ctx, dir, total); err != nil {
			return err
		}
	}
	unix.Sync() // what is still being written would slow the disk
	cores, err := someCores(readLanes)
	if err != nil {
		return err
	}
	on := func(args ...string) []string { return append([]string{"taskset", "-c", cores}, args...) }
	script := func(name, text string, dirs ...string) contender {
		return contender{name, func(string) []string { return on(append([]string{"sh", "-c", text, "sh"}, dirs...)...) }, 0}
	}
	round := 0
	ours := func(args ...string) contender {
		return contender{"loadline-cli", func(string) []string {
			round++ // a new state folder each time: nothing is remembered
			return on(append([]string{"env", "XDG_STATE_HOME=" + filepath.Join(memory, "state"+strconv.Itoa(round)), command}, args...)...)
		}, 1}
	}
	fmt.Printf("\nHow fast files are read: %s in %d files, median of %d rounds in turn, all on the same %d cores, seconds. "+
		"OpenSSL runs as %d processes side by side, each over half of the files.\n\n",
		gigabytes(total), readFiles, runs, readLanes, readLanes)
	fmt.Println("| what | where | beside | loadline-cli | the other | ÷ the other | its processor time | the other's | rate | peak |")
	fmt.Println("| --- | --- | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
	for _, m := range []struct {
		what, where, beside string
		bytes               int
		ours, other         contender
	}{
		{
			"before -read", "memory", "OpenSSL, SHA-256", total,
			ours("before", "-read", "-no-trial", "-no-clips", "-json", source), script("openssl", readScripts.sha256, source),
		},
		{
			"after", "memory", "OpenSSL, SHA-256 of both sides and MD5 of one", 2 * total,
			ours("after", "-no-trial", "-json", source, share), script("openssl", readScripts.both, source, share),
		},
		{
			"before -read", "disk", "dd, direct I/O", total,
			ours("before", "-read", "-no-trial", "-no-clips", "-json", onDisk), script("dd", readScripts.dd, onDisk),
		},
	} {
		samples, err := rounds(ctx, "", []contender{m.ours, m.other}, runs)
		if err != nil {
			return err
		}
		var walls, cpus [2]float64
		for i, of := range samples {
			walls[i] = median(of, func(s sample) time.Duration { return s.wall }).Seconds()
			cpus[i] = median(of, func(s sample) time.Duration { return s.cpu }).Seconds()
		}
		fmt.Printf("| %s | %s | %s | %.3f | %.3f | %.2f | %.3f | %.3f | %.0f MB/s | %.0f MiB |\n", m.what, m.where, m.beside,
			walls[0], walls[1], walls[0]/walls[1], cpus[0], cpus[1], float64(m.bytes)/1e6/walls[0],
			float64(median(samples[0], func(s sample) int64 { return s.peak }))/(1<<20))
	}
	return nil
}

// footage writes files of noise, total bytes in all, made days ago. Two folders get the same.
func footage(ctx context.Context, dir string, total int) error {
	noise := rand.NewChaCha8([32]byte{1})
	old := time.Now().Add(-72 * time.Hour).Truncate(time.Second)
	for i := range readFiles {
		if err := ctx.Err(); err != nil {
			return err
		}
		name := filepath.Join(dir, fmt.Sprintf("day%d", i/10+1), fmt.Sprintf("take%02d.mov", i))
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			return err
		}
		f, err := os.Create(name)
		if err != nil {
			return err
		}
		_, err = io.CopyN(f, noise, int64(total/readFiles))
		if closed := f.Close(); err == nil {
			err = closed
		}
		if err != nil {
			return err
		}
		if err := os.Chtimes(name, old, old); err != nil {
			return err
		}
	}
	return nil
}

// someCores lists n cores that this process may run on, as taskset takes them.
func someCores(n int) (string, error) {
	var set unix.CPUSet
	if err := unix.SchedGetaffinity(0, &set); err != nil {
		return "", err
	}
	list := ""
	for cpu := 0; cpu < maxCores && n > 0; cpu++ {
		if set.IsSet(cpu) {
			if list != "" {
				list += ","
			}
			list += strconv.Itoa(cpu)
			n--
		}
	}
	if n > 0 {
		return "", fmt.Errorf("%d more cores are needed", n)
	}
	return list, nil
}

func gigabytes(n int) string { return strconv.FormatFloat(float64(n)/1e9, 'f', -1, 64) + " GB" }
