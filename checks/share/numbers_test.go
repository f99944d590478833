package share

import (
	"os"
	"testing"
	"time"
)

func TestAhead(t *testing.T) {
	from := time.Date(2024, 5, 6, 7, 8, 9, 500_000_000, time.UTC)
	to := from.Add(time.Second)
	for _, tc := range []struct {
		date time.Time
		want time.Duration
	}{
		{from, 0},
		{to, 0},
		{from.Add(300 * time.Millisecond), 0},
		{from.Add(-9 * time.Millisecond), 0},   // a tick of the kernel's clock
		{from.Truncate(time.Second), 0},        // whole seconds
		{from.Truncate(2 * time.Second), 0},    // even seconds
		{from.Add(-time.Second), -time.Second}, // behind
		{from.Add(-10 * time.Minute).Truncate(time.Second), -10*time.Minute - 500*time.Millisecond},
		{to.Add(3 * time.Second), 3 * time.Second},
	} {
		if got := ahead(tc.date, from, to); got != tc.want {
			t.Errorf("%v: %v, want %v", tc.date, got, tc.want)
		}
	}
}

func TestRates(t *testing.T) {
	var parts []part
	for i := 1; i <= 8; i++ { // 1 to 8 MB/s
		parts = append(parts, part{bytes: int64(i) * 1e6, took: time.Second})
	}
	if all, low, high := rates(parts); all != 4.5e6 || low != 1.5e6 || high != 7.5e6 {
		t.Errorf("%v %v %v", all, low, high)
	}
	if all, low, high := rates(parts[:1]); all != 1e6 || low != 1e6 || high != 1e6 {
		t.Errorf("one part: %v %v %v", all, low, high)
	}
	if all, _, _ := rates(nil); all != 0 {
		t.Errorf("no parts: %v", all)
	}
}

func TestPartSize(t *testing.T) {
	for _, tc := range []struct {
		rate  float64
		total int64
		want  int64
	}{
		{100e6, 256 << 20, 24_969_216}, // a quarter of a second, in whole pieces of 64 KiB
		{10e9, 256 << 20, 32 << 20},    // at least eight parts
		{1000, 256 << 20, 64 << 10},
		{0, 4096, 64 << 10},
	} {
		if got := partSize(tc.rate, 8*time.Second, tc.total); got != tc.want {
			t.Errorf("partSize(%v, %d) = %d, want %d", tc.rate, tc.total, got, tc.want)
		}
	}
}

// What follows from a seed does not depend on how it is cut up.
func TestPattern(t *testing.T) {
	whole := make([]byte, 3*patternBytes+777)
	pattern(whole, 9, 0)
	for _, at := range []int64{0, patternBytes, 2 * patternBytes} {
		piece := make([]byte, min(patternBytes+5, int64(len(whole))-at))
		pattern(piece, 9, at)
		if string(piece) != string(whole[at:at+int64(len(piece))]) {
			t.Errorf("the piece at %d differs", at)
		}
	}
	if string(whole[:64]) == string(whole[patternBytes:patternBytes+64]) {
		t.Error("two pieces are the same")
	}
}

func TestSameLocal(t *testing.T) {
	disk := Mount{ID: 1, Point: "/", From: "/dev/sda2", Type: "btrfs", Device: 5}
	for name, tc := range map[string]struct {
		m    Mount
		want bool
	}{
		"itself":           {disk, true},
		"a bind mount":     {Mount{ID: 2, Point: "/mnt", From: "/dev/sda2", Type: "ext4", Device: 5}, true},
		"a part of btrfs":  {Mount{ID: 3, Point: "/mnt", From: "/dev/sda2", Type: "btrfs", Device: 6}, true},
		"another disk":     {Mount{ID: 4, Point: "/mnt", From: "/dev/sdb1", Type: "btrfs", Device: 7}, false},
		"a share":          {Mount{ID: 5, Point: "/mnt", From: "box:/films", Type: "nfs", Device: 5}, false},
		"memory":           {Mount{ID: 6, Point: "/mnt", From: "tmpfs", Type: "tmpfs", Device: 8}, false},
		"without a number": {Mount{Point: "/mnt", From: "/dev/sdc1", Type: "apfs"}, false},
	} {
		if got := sameLocal(&disk, &tc.m); got != tc.want {
			t.Errorf("%s: %v", name, got)
		}
	}
}

func TestMarkerRunning(t *testing.T) {
	now := time.Now()
	own := newMarker(".loadline-trial-abcdefgh")
	live.Store(own.token, true)
	defer live.Delete(own.token)
	dead := own
	dead.token = "another token of this process"
	parent := own
	parent.pid = os.Getppid()
	elsewhere := own
	elsewhere.host = "elsewhere"
	for name, tc := range map[string]struct {
		m    marker
		at   time.Time
		want bool
	}{
		"of this process":             {own, now, true},
		"ended, of this process":      {dead, now, false},
		"of a living process":         {parent, now, true},
		"a number that is used again": {parent, now.Add(25 * time.Hour), false},
		"of another machine, now":     {elsewhere, now, true},
		"of another machine, before":  {elsewhere, now.Add(2 * time.Hour), false},
	} {
		if got := tc.m.running(tc.at); got != tc.want {
			t.Errorf("%s: %v", name, got)
		}
	}
}
