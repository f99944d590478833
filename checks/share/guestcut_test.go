//go:build rig

package share

import (
	"bufio"
	"context"
	"errors"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"
)

// On a hard mount a call to a server that is gone hangs until it is back (nfs(5), hard): state D,
// which only a killing signal ends.
var hardMounts = []string{"/mnt/v3", "/mnt/v42"}

// brief is how long a share that is gone is waited for: no call that can answer has this deadline.
const brief = 700 * time.Millisecond

// The server is gone before anything is asked.
func TestCutBefore(t *testing.T) {
	for _, folder := range hardMounts {
		t.Run(folder, func(t *testing.T) {
			rig(t, "cut")
			f, err := Look(t.Context(), folder, brief)
			if !errors.Is(err, ErrSilent) || f == nil || f.Mount.Point != folder || !f.NFS {
				t.Errorf("Look = %+v, %v", f, err)
			}
			r, err := Try(t.Context(), folder, Wishes{Deadline: brief})
			if !errors.Is(err, ErrSilent) || len(r.Problems) > 0 {
				t.Errorf("Try = %+v, %v", r, err)
			}
			// Stop works at once, long before the deadline.
			ctx, cancel := context.WithCancel(t.Context())
			done := make(chan error, 2)
			go func() { _, err := Look(ctx, folder, time.Hour); done <- err }()
			go func() { _, err := Try(ctx, folder, Wishes{Deadline: time.Hour}); done <- err }()
			cancel()
			for range 2 {
				if err := <-done; !errors.Is(err, context.Canceled) {
					t.Errorf("cancelled: %v", err)
				}
			}
			// No more than eight calls hang, then nothing more is asked.
			for range 2 * mostHanging {
				_, err = Look(t.Context(), folder, brief/10)
			}
			if !errors.Is(err, ErrBusy) {
				t.Errorf("after %d hanging calls: %v", mostHanging, err)
			}
			rig(t, "heal")
			drain(t)
			again(t, folder)
		})
	}
}

// again checks that a share is as good as new.
func again(t *testing.T, folder string) {
	t.Helper()
	r, err := Try(t.Context(), folder, Wishes{Bytes: 100_000, Files: 2, Time: time.Hour, Deadline: time.Hour})
	if err != nil || len(r.Problems) > 0 || len(r.LeftBehind) > 0 {
		t.Errorf("after the server came back: %+v, %v", r, err)
	}
	empty(t, folder)
}

// The server goes in each phase of a trial and comes back: the trial gives up after its deadline,
// what it left it takes away when the call that hung comes back, and the next run is clean.
func TestCutDuring(t *testing.T) {
	for folder, phases := range map[string][]string{
		"/mnt/v3": {
			"Making a trial folder", "Writing and reading back a file", "Trying names", "Timing small files",
			"Measuring the rate", "Reading back", "Removing the trial folder",
		},
		"/mnt/v42": {"Trying names", "Measuring the rate", "Removing the trial folder"},
	} {
		for _, phase := range phases {
			t.Run(folder+"/"+phase, func(t *testing.T) {
				cut := false
				overdue := make(chan struct{})
				r, err := Try(t.Context(), folder, Wishes{
					Bytes: 2 << 20, Files: 3, Time: time.Hour, Deadline: time.Hour, overdue: overdue,
					Progress: func(_ float64, doing string) {
						if doing == phase && !cut {
							cut = true
							rig(t, "cut")
							close(overdue)
						}
					},
				})
				if !cut || !errors.Is(err, ErrSilent) || len(r.Problems) > 0 {
					t.Errorf("Try = %+v, %v (cut: %v)", r, err, cut)
				}
				if err != nil && phase != "Making a trial folder" && (r.Own == "" || !strings.Contains(err.Error(), r.Own)) {
					t.Errorf("the error does not say what may be left: %v", err)
				}
				rig(t, "heal")
				drain(t)
				again(t, folder)
			})
		}
	}
}

// A soft mount gives up after its time-out (timeo=10,retrans=1: 1 s, then 2 s) with EIO; a trial
// says what that means. The write is lost for good though the server comes back.
func TestCutSoft(t *testing.T) {
	cut := false
	r, err := Try(t.Context(), "/mnt/soft3", Wishes{Bytes: 2 << 20, Files: 3, Time: time.Hour, Deadline: time.Hour, Progress: func(_ float64, doing string) {
		if doing == "Measuring the rate" && !cut {
			cut = true
			rig(t, "cut")
		}
	}})
	if err != nil || rules(r) != "write-lost" || !strings.Contains(r.Problems[0].Detail, "soft mount") || r.Own == "" {
		t.Errorf("Try = %+v, %v", r, err)
	}
	rig(t, "heal")
	if err := Remove(t.Context(), r.Own); err != nil {
		t.Error(err)
	}
	again(t, "/mnt/soft3")
}

// A process whose trial hangs ends when it is told to, whatever it was doing. (A flush that waits
// for pages of the cache would keep it from ending: see place.direct.)
func TestCutEnds(t *testing.T) {
	for folder, phases := range map[string][]string{
		"/mnt/v3":  {"Timing small files", "Measuring the rate"},
		"/mnt/v42": {"Measuring the rate"},
	} {
		for _, phase := range phases {
			c := helper(t, "hang", folder, phase)
			in, _ := c.StdinPipe()
			out, _ := c.StdoutPipe()
			if err := c.Start(); err != nil {
				t.Fatal(err)
			}
			waitFor(t, bufio.NewScanner(out), "there")
			in.Close()
			_ = c.Wait() // its status is looked at below
			if code := c.ProcessState.ExitCode(); code != 3 {
				t.Errorf("%s, %s: the process ended with %d", folder, phase, code)
			}
			rig(t, "heal")
			left(t, folder)
		}
	}
}

// A process that ends while it has a file open on a share whose server is gone is gone at once. On version 4
// the last close of a file waits for the server otherwise, even in a process that was killed (measured).
func TestCutEndsWithOpenFiles(t *testing.T) {
	for _, folder := range []string{"/mnt/squash3", "/mnt/squash42"} {
		if err := os.WriteFile(folder+"/leave", []byte("x"), 0o644); err != nil {
			t.Fatal(err)
		}
		c := helper(t, "leave", folder)
		err := c.Run()
		var exit *exec.ExitError
		if !errors.As(err, &exit) || exit.ExitCode() != 3 {
			t.Errorf("%s: %v", folder, err)
		}
		rig(t, "heal")
	}
}

// SIGKILL in any phase leaves what the next run recognises and can remove.
func TestKilled(t *testing.T) {
	for folder, phases := range map[string][]string{
		"/mnt/v3":  {"Writing and reading back a file", "Trying names", "Timing small files", "Reading back"},
		"/mnt/v42": {"Measuring the rate"},
	} {
		for _, phase := range phases {
			c := helper(t, "stand", folder, phase)
			out, _ := c.StdoutPipe()
			if err := c.Start(); err != nil {
				t.Fatal(err)
			}
			waitFor(t, bufio.NewScanner(out), "there")
			if err := c.Process.Kill(); err != nil {
				t.Fatal(err)
			}
			_ = c.Wait() // killed
			left(t, folder)
		}
	}
}

// left expects one trial folder of a process that has ended, sees it in a trial, and removes it.
func left(t *testing.T, folder string) {
	t.Helper()
	found, err := LeftBehind(t.Context(), folder)
	if err != nil || len(found) != 1 {
		t.Fatalf("LeftBehind(%s) = %q, %v", folder, found, err)
	}
	r, err := Try(t.Context(), folder, Wishes{Bytes: 100_000, Files: 2, Time: time.Hour, Deadline: time.Hour})
	if err != nil || len(r.LeftBehind) != 1 || r.LeftBehind[0] != found[0] {
		t.Errorf("Try = %+v, %v", r, err)
	}
	if err := Remove(t.Context(), found[0]); err != nil {
		t.Errorf("Remove: %v", err)
	}
	again(t, folder)
}
