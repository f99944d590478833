package main

import (
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"time"
)

// A contender is one program that passes over a tree.
type contender struct {
	name string
	args func(tree string) []string
	// may is an exit status that is as good as 0: a report that flags files has 1.
	may int
}

// A sample is one run of a contender.
type sample struct {
	wall time.Duration
	peak int64         // most memory in use, bytes
	cpu  time.Duration // processor time, of all its processes
}

// bench measures the command against what a person would run instead and against a floor.
func bench(ctx context.Context, args []string) (err error) {
	flags := flag.NewFlagSet("bench", flag.ContinueOnError)
	quick := flags.Bool("quick", false, "small trees and three rounds, to see that it works")
	dir := flags.String("dir", os.TempDir(), "build the trees below this `folder`")
	runs := flags.Int("runs", 5, "number of rounds")
	window := flags.Bool("window", false, "measure the window instead: at rest, at work, with a million findings")
	clips := flags.Bool("clips", false, "measure only what a look into every file costs")
	read := flags.Bool("read", false, "measure only how fast files are read, beside OpenSSL and dd; takes 6 GB, 4 of them in /dev/shm")
	if err := flags.Parse(args); err != nil {
		return err
	}
	if *runs < 1 || flags.NArg() > 0 {
		return errors.New("bench takes no arguments, and -runs must be at least 1")
	}
	if *window {
		return benchWindow(ctx, *dir, *quick)
	}
	sizes := []int{300_000, 1_000_000}
	if *quick {
		sizes = []int{3_000}
		*runs = min(*runs, 3)
	}
	work, err := os.MkdirTemp(*dir, "loadline-bench-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(work)) }()

	contenders, err := buildContenders(ctx, work)
	if err != nil {
		return err
	}
	command := filepath.Join(work, commandName)
	fmt.Printf("\n%s\n\n", machine(ctx, work))
	switch {
	case *clips:
		return benchClips(ctx, work, contenders[0], *runs, *quick)
	case *read:
		return benchRead(ctx, work, command, *runs, *quick)
	}
	fmt.Printf("Median of %d rounds in turn, caches warm, seconds of wall time and peak memory. None of them looks into files: loadline-cli runs with -no-clips.\n\n", *runs)
	fmt.Println("| files | tree | flagged | loadline-cli | find -printf | du -s | floor | ÷ floor | ÷ find | peak |")
	fmt.Println("| ---: | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
	first, err := benchStart(ctx, work, contenders[0], *runs)
	if err != nil {
		return err
	}
	trees := &forest{root: work}
	for _, files := range sizes {
		for _, s := range shapes {
			for _, flagged := range []int{0, 10} {
				if err := trees.arrange(ctx, s, files, flagged); err != nil {
					return err
				}
				row, err := benchTree(ctx, trees, contenders, *runs)
				if err != nil {
					return err
				}
				fmt.Println(row)
			}
		}
	}
	fmt.Printf("\nTrees: ")
	for i, s := range shapes {
		if i > 0 {
			fmt.Print("; ")
		}
		fmt.Printf("%s is %s", s.name, s.doc)
	}
	fmt.Printf(".\nloadline-cli from start to end on a folder of one file: %s.\n", first.Round(100*time.Microsecond))
	if err := benchClips(ctx, work, contenders[0], *runs, *quick); err != nil {
		return err
	}
	return benchRead(ctx, work, command, *runs, *quick)
}

// clipSamples are clips of every kind, a few kilobytes each.
const clipSamples = "checks/media/testdata/samples/*/*"

// benchClips measures what looking into files costs: first into those that are no clips, of about 100 bytes
// each, then into clips.
func benchClips(ctx context.Context, work string, without contender, runs int, quick bool) error {
	with := without
	with.args = func(t string) []string {
		return slices.DeleteFunc(without.args(t), func(a string) bool { return a == "-no-clips" })
	}
	samples, err := filepath.Glob(clipSamples)
	if err != nil || len(samples) == 0 {
		return fmt.Errorf("no clips in %s (%v)", clipSamples, err)
	}
	clips := &forest{root: filepath.Join(work, "clips")}
	for _, s := range samples {
		content, err := os.ReadFile(s)
		if err != nil {
			return err
		}
		clips.content = append(clips.content, content)
	}
	notes := &forest{root: filepath.Join(work, "notes"), content: [][]byte{[]byte(strings.Repeat("no clip ", 12) + "end\n")}}
	fmt.Printf("\nThe same with and without a look into every file: wide trees, median of %d rounds.\n\n", runs)
	fmt.Println("| files | what they are | -no-clips | loadline-cli | more a file | peak |")
	fmt.Println("| ---: | --- | ---: | ---: | ---: | ---: |")
	for _, of := range []struct {
		trees *forest
		files int
		what  string
	}{
		{notes, 300_000, "no clips, 100 bytes each"},
		{clips, 30_000, fmt.Sprintf("%d small clips over and over", len(samples))},
	} {
		if quick {
			of.files /= 100
		}
		if err := of.trees.arrange(ctx, shapes[1], of.files, 0); err != nil {
			return err
		}
		walls, peaks, err := inTurn(ctx, of.trees.tree(), []contender{without, with}, runs)
		if err != nil {
			return err
		}
		fmt.Printf("| %s | %s | %.3f | %.3f | %.1f µs | %.0f MiB |\n", thousands(of.files), of.what, walls[0].Seconds(), walls[1].Seconds(),
			float64((walls[1]-walls[0]).Nanoseconds())/1e3/float64(of.files), float64(peaks[1])/(1<<20))
	}
	return nil
}

// commandName is what the command is called below the folder of the run.
const commandName = "loadline-cli"

// buildContenders builds the command as it is released and the floor, and returns all programs
// that are measured, ours first, the floor last.
func buildContenders(ctx context.Context, work string) ([]contender, error) {
	command, floor := filepath.Join(work, commandName), filepath.Join(work, "floor")
	if err := buildCommand(ctx, command, "-trimpath", "-ldflags", "-s -w"); err != nil {
		return nil, err
	}
	if err := run(ctx, "cc", "-O2", "-pthread", "-o", floor, "testdata/bench/floor.c"); err != nil {
		return nil, err
	}
	return []contender{
		{"loadline-cli", func(t string) []string { return []string{command, "before", "-no-trial", "-no-clips", "-json", t} }, 1},
		{"find", func(t string) []string {
			return []string{"find", t, "-printf", `%s %m %n %T@ %y %p\n`}
		}, 0},
		{"du", func(t string) []string { return []string{"du", "-s", t} }, 0},
		{"floor", func(t string) []string { return []string{floor, t} }, 0},
	}, nil
}

// inTurn runs all contenders over a tree, round by round, and returns the medians of each.
func inTurn(ctx context.Context, tree string, all []contender, runs int) (walls []time.Duration, peaks []int64, err error) {
	samples, err := rounds(ctx, tree, all, runs)
	if err != nil {
		return nil, nil, err
	}
	for _, of := range samples {
		walls = append(walls, median(of, func(s sample) time.Duration { return s.wall }))
		peaks = append(peaks, median(of, func(s sample) int64 { return s.peak }))
	}
	return walls, peaks, nil
}

// rounds runs all contenders over a tree, round by round, and returns the samples of each.
func rounds(ctx context.Context, tree string, all []contender, runs int) ([][]sample, error) {
	samples := make([][]sample, len(all))
	for round := -1; round < runs; round++ { // round -1 warms the caches and does not count
		for i, c := range all {
			one, err := measure(ctx, c, tree)
			if err != nil {
				return nil, err
			}
			if round >= 0 {
				samples[i] = append(samples[i], one)
			}
		}
	}
	return samples, nil
}

// benchTree runs every contender over the forest and returns a row of the table.
func benchTree(ctx context.Context, trees *forest, all []contender, runs int) (string, error) {
	walls, peaks, err := inTurn(ctx, trees.tree(), all, runs)
	if err != nil {
		return "", err
	}
	share := "none"
	if trees.flagged > 0 {
		share = fmt.Sprintf("%d %%", 100/trees.flagged)
	}
	ours, find, du, floor := walls[0], walls[1], walls[2], walls[3]
	return fmt.Sprintf("| %s | %s | %s | %.3f | %.3f | %.3f | %.3f | %.2f | %.2f | %.0f MiB |",
		thousands(trees.files), trees.shape.name, share, ours.Seconds(), find.Seconds(), du.Seconds(), floor.Seconds(),
		ours.Seconds()/floor.Seconds(), ours.Seconds()/find.Seconds(),
		float64(peaks[0])/(1<<20)), nil
}

// benchStart measures the command on a folder that holds next to nothing.
func benchStart(ctx context.Context, work string, ours contender, runs int) (time.Duration, error) {
	one := &forest{root: filepath.Join(work, "one")}
	if err := one.arrange(ctx, shapes[0], 1, 0); err != nil {
		return 0, err
	}
	var samples []sample
	for range runs {
		s, err := measure(ctx, ours, one.tree())
		if err != nil {
			return 0, err
		}
		samples = append(samples, s)
	}
	return median(samples, func(s sample) time.Duration { return s.wall }), nil
}

// measure runs a contender once. Its output goes straight to the null device: reading it here would
// cost time. The peak is at least what this process itself used as it started the program, about
// 20 MiB: the system counts from before exec.
func measure(ctx context.Context, c contender, tree string) (sample, error) {
	args := c.args(tree)
	cmd := exec.CommandContext(ctx, args[0], args[1:]...)
	cmd.Env = append(os.Environ(), "LC_ALL=C.UTF-8")
	var complaints strings.Builder
	cmd.Stderr = &complaints
	begun := time.Now()
	err := cmd.Run()
	wall := time.Since(begun)
	if exit := new(exec.ExitError); err != nil && !(errors.As(err, &exit) && exit.ExitCode() == c.may) {
		return sample{}, fmt.Errorf("%s: %w\n%s", c.name, err, complaints.String())
	}
	usage, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage)
	if !ok {
		return sample{}, errors.New("the system does not say how much memory a program used")
	}
	cpu := cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	return sample{wall, usage.Maxrss << 10, cpu}, nil // Linux counts it in KiB: getrusage(2)
}

// median is the middle one of an odd number of samples, the upper middle one of an even number.
func median[V cmp.Ordered](samples []sample, of func(sample) V) V {
	var all []V
	for _, s := range samples {
		all = append(all, of(s))
	}
	slices.Sort(all)
	return all[len(all)/2]
}

// machine says where and when the numbers were made.
func machine(ctx context.Context, dir string) string {
	say := func(name string, args ...string) string {
		out, err := exec.CommandContext(ctx, name, args...).Output()
		if err != nil {
			return "unknown"
		}
		lines := strings.Split(strings.TrimSpace(string(out)), "\n")
		return strings.TrimSpace(lines[len(lines)-1])
	}
	model := "unknown processor"
	if f, err := os.Open("/proc/cpuinfo"); err == nil {
		text, _ := io.ReadAll(f)
		f.Close()
		for l := range strings.Lines(string(text)) {
			if k, v, ok := strings.Cut(l, ":"); ok && strings.TrimSpace(k) == "model name" {
				model = strings.TrimSpace(v)
				break
			}
		}
	}
	return fmt.Sprintf("Machine: %s, %d cores, Linux %s, %s; %s; %s.", model, runtime.NumCPU(),
		say("uname", "-r"), say("df", "--output=fstype", dir), runtime.Version(), time.Now().Format("2 January 2006"))
}

// thousands writes a number with commas.
func thousands(n int) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
