//go:build linux

package share

import (
	"context"
	"errors"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/sys/unix"
	"golang.org/x/text/unicode/norm"
)

func ids(r *Result) string {
	var out []string
	for _, p := range r.Problems {
		out = append(out, p.Rule)
	}
	return strings.Join(out, " ")
}

// failing answers one kind of request with an error, for files of one name.
func failing(op uint32, name string, errno unix.Errno) *liar {
	return &liar{fail: func(o uint32, n string) unix.Errno {
		if o == op && strings.HasPrefix(n, name) {
			return errno
		}
		return 0
	}}
}

func TestTryFindsLies(t *testing.T) {
	for name, tc := range map[string]struct {
		liar  *liar
		rules string
	}{
		"honest":                {&liar{}, ""},
		"read-only":             {failing(opMkdir, "", unix.EROFS), ruleReadOnly},
		"denied":                {failing(opMkdir, "", unix.EACCES), ruleDenied},
		"not opened again":      {failing(opOpen, "probe", unix.EACCES), ruleDenied},
		"no space at the flush": {failing(opFsync, "stream", unix.ENOSPC), ruleFull},
		"no space at the close": {failing(opFlush, "stream", unix.ENOSPC), ruleFull},
		"quota at the write":    {failing(opWrite, "stream", unix.EDQUOT), ruleFull},
		"flush fails":           {failing(opFsync, "probe", unix.EIO), ruleLost},
		"close fails":           {failing(opFlush, "small", unix.EIO), ruleLost},
		"stale":                 {failing(opWrite, "unit", unix.ESTALE), ruleStale},
		"rename fails":          {failing(opRename, "probe", unix.EIO), ruleLost},
		"other bytes come back": {&liar{read: func(b []byte) {
			if len(b) > 100_000 {
				b[99_999] ^= 1
			}
		}}, ruleLost},
		"dates are refused":    {failing(opSetattr, "renamed", unix.EPERM), ruleDenied},
		"the first flush only": {once(opFsync, "stream", unix.EIO), ruleLost},
	} {
		t.Run(name, func(t *testing.T) {
			dir := mountLiar(t, tc.liar)
			f, err := Look(t.Context(), dir, 0)
			if err != nil || f.Mount.Type != "fuse" || f.Mount.Point != dir || f.System {
				t.Fatalf("Look = %+v, %v", f, err)
			}
			r, err := Try(t.Context(), dir, quick)
			if err != nil || ids(r) != tc.rules {
				t.Fatalf("found %q, want %q: %+v, %v", ids(r), tc.rules, r, err)
			}
			if left := listed(t, dir); len(left) > 0 {
				t.Errorf("left: %q", left)
			}
		})
	}
}

// An error that no rule names is no lost write, unless bytes were on their way: the trial could not judge.
func TestTryMeetsTheUnknown(t *testing.T) {
	for _, tc := range []struct {
		op   uint32
		name string
		rule string // "": not judged
	}{
		{opMkdir, "", ""},
		{opCreate, "probe", ""},
		{opRename, "probe", ""},
		{opCreate, "small-0", ""},
		{opUnlink, "small-0", ""},
		{opWrite, "probe", ruleLost},
		{opFsync, "stream", ruleLost},
		{opFlush, "small-0", ruleLost},
		{opRead, "stream", ruleLost},
	} {
		dir := mountLiar(t, once(tc.op, tc.name, unix.EDOM))
		if tc.name == "" {
			dir = mountLiar(t, failing(tc.op, tc.name, unix.EDOM))
		}
		r, err := Try(t.Context(), dir, quick)
		if ids(r) != tc.rule || (err == nil) != (tc.rule != "") || err != nil && !errors.Is(err, unix.EDOM) {
			t.Errorf("request %d of %q: %q, want %q: %v", tc.op, tc.name, ids(r), tc.rule, err)
		}
		if left := listed(t, dir); len(left) > 0 {
			t.Errorf("request %d of %q: left: %q", tc.op, tc.name, left)
		}
	}
}

// once fails one request only, as fsync(2) tells of lost bytes once.
func once(op uint32, name string, errno unix.Errno) *liar {
	var did atomic.Bool
	return &liar{fail: func(o uint32, n string) unix.Errno {
		if o == op && n == name && did.CompareAndSwap(false, true) {
			return errno
		}
		return 0
	}}
}

// lower changes ASCII letters only.
func lower(s string) string {
	b := []byte(s)
	for i, c := range b {
		if 'A' <= c && c <= 'Z' {
			b[i] = c + 'a' - 'A'
		}
	}
	return string(b)
}

func cut(limit int) func(string) string {
	return func(s string) string { return s[:min(limit, len(s))] }
}

func TestTryFindsHowNamesAreKept(t *testing.T) {
	for name, tc := range map[string]struct {
		liar               *liar
		cuts, cases, forms bool
		limit              int
		refused            []Refusal
	}{
		"cut at the limit":  {liar: &liar{keep: cut(255)}, cuts: true, limit: 255},
		"cut at 143":        {liar: &liar{keep: cut(143)}, cuts: true, limit: 143},
		"over the limit":    {liar: &liar{}, cuts: true, limit: 256},
		"folds case":        {liar: &liar{key: strings.ToLower, fail: long(255)}, cases: true, limit: 255},
		"keeps lower case":  {liar: &liar{keep: lower, fail: long(255)}, cases: true, limit: 255},
		"folds forms":       {liar: &liar{key: norm.NFC.String, fail: long(255)}, forms: true, limit: 255},
		"keeps NFD":         {liar: &liar{keep: norm.NFD.String, fail: long(255)}, forms: true, limit: 255},
		"keeps NFC":         {liar: &liar{keep: norm.NFC.String, fail: long(255)}, forms: true, limit: 255},
		"less than it says": {liar: &liar{fail: long(143)}, limit: 143},
		"emoji become ?": {
			liar:    &liar{keep: func(s string) string { return strings.ReplaceAll(s, "\U0001F3AC", "????") }, fail: long(255)},
			limit:   255,
			refused: []Refusal{{Habit: HabitSupplementary, Back: "n-043-????"}},
		},
		"refuses a colon": {
			liar: &liar{fail: func(op uint32, name string) unix.Errno {
				if op == opCreate && strings.Contains(name, ":") {
					return unix.EINVAL
				}
				return long(255)(op, name)
			}},
			limit:   255,
			refused: []Refusal{{Rune: ':', Err: unix.EINVAL}},
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := mountLiar(t, tc.liar)
			r, err := Try(t.Context(), dir, quick)
			if err != nil || len(r.Problems) > 0 || !r.NamesTried {
				t.Fatalf("Try = %+v, %v", r, err)
			}
			if r.CutsShort != tc.cuts || r.FoldsCase != tc.cases || r.FoldsForms != tc.forms || r.NameLimit != tc.limit {
				t.Errorf("cuts %v, folds case %v, forms %v, limit %d; want %+v", r.CutsShort, r.FoldsCase, r.FoldsForms, r.NameLimit, tc)
			}
			if len(r.Refused) != len(tc.refused) || len(r.Refused) > 0 && r.Refused[0] != tc.refused[0] {
				t.Errorf("refused %+v, want %+v", r.Refused, tc.refused)
			}
			if left := listed(t, dir); len(left) > 0 {
				t.Errorf("left: %q", left)
			}
		})
	}
}

// long refuses names that are longer than most.
func long(most int) func(uint32, string) unix.Errno {
	return func(op uint32, name string) unix.Errno {
		if (op == opCreate || op == opLookup) && len(name) > most {
			return unix.ENAMETOOLONG
		}
		return 0
	}
}

// A share that hangs in the middle, in a call of any kind: it is silent after the deadline, or stopped at once where the
// person stops. What may be left there is named, and when it goes on, it is taken away.
func TestTryHangs(t *testing.T) {
	for _, at := range []struct {
		op   uint32
		name string
	}{
		{opCreate, "probe"},
		{opFsync, "probe"},
		{opRename, "probe"},
		{opMkdir, "names"},
		{opWrite, "unit"},
		{opFsync, "stream"},
		{opUnlink, "stream"},
		{opUnlink, markerName},
		{opRmdir, trialPrefix}, // while it tidies up
	} {
		for _, stopped := range []bool{false, true} {
			ctx, cancel := context.WithCancel(t.Context())
			hang, overdue := make(chan struct{}), make(chan struct{})
			var hung atomic.Bool
			dir := mountLiar(t, &liar{fail: func(op uint32, name string) unix.Errno {
				if op == at.op && strings.HasPrefix(name, at.name) && hung.CompareAndSwap(false, true) {
					if stopped {
						cancel()
					} else {
						close(overdue)
					}
					<-hang
				}
				return 0
			}})
			w := quick
			w.Deadline, w.overdue = time.Hour, overdue
			want := ErrSilent
			if stopped {
				want = context.Canceled
			}
			r, err := Try(ctx, dir, w)
			if !errors.Is(err, want) || !hung.Load() || !strings.HasPrefix(r.Own, dir+"/"+trialPrefix) || !strings.Contains(err.Error(), r.Own) {
				t.Errorf("request %d of %s, stopped %v: %+v, %v", at.op, at.name, stopped, r, err)
			}
			close(hang)
			settled(t)
			if left := listed(t, dir); len(left) > 0 {
				t.Errorf("request %d of %s: left: %q", at.op, at.name, left)
			}
			cancel()
		}
	}
}

// settled waits until nothing hangs any more.
func settled(t *testing.T) {
	t.Helper()
	for range mostHanging {
		if err := calls.enter(t.Context(), time.Hour); err != nil {
			t.Fatal(err)
		}
	}
	for range mostHanging {
		calls.leave(false)
	}
}

// A share that takes nothing away any more: what stays is named, and why.
func TestTryCannotCleanUp(t *testing.T) {
	for _, at := range []uint32{opUnlink, opRmdir} {
		var over atomic.Bool
		dir := mountLiar(t, &liar{fail: func(op uint32, name string) unix.Errno {
			if over.Load() && op == at && name != "names" {
				return unix.EIO
			}
			return 0
		}})
		w := quick
		w.Progress = func(_ float64, doing string) {
			if doing == "Removing the trial folder" {
				over.Store(true)
			}
		}
		r, err := Try(t.Context(), dir, w)
		if err != nil || ids(r) != ruleLost || !strings.HasPrefix(r.Own, dir+"/"+trialPrefix) || len(r.LeftBehind) > 0 {
			t.Errorf("request %d: %+v, %v", at, r, err)
		}
		if left := listed(t, dir); len(left) != 1 || dir+"/"+left[0] != r.Own {
			t.Errorf("left: %q, told %q", left, r.Own)
		}
	}
}

// Where the share refuses O_DIRECT, at the opening or only at the reading, the cache is dropped.
func TestTryReadsPastTheCacheAnotherWay(t *testing.T) {
	for _, op := range []uint32{opOpen, opRead} {
		dir := mountLiar(t, once(op, "probe", unix.EINVAL))
		r, err := Try(t.Context(), dir, quick)
		if err != nil || len(r.Problems) > 0 || r.PastCache != "posix_fadvise(POSIX_FADV_DONTNEED)" {
			t.Errorf("request %d: %+v, %v", op, r, err)
		}
	}
	r, err := Try(t.Context(), mountLiar(t, &liar{}), quick)
	if err != nil || r.PastCache != "O_DIRECT" {
		t.Errorf("%+v, %v", r, err)
	}
}

// A server whose clock is wrong shows it in the dates of what is written there.
func TestTryMeasuresTheClock(t *testing.T) {
	for _, off := range []time.Duration{-time.Hour, 90 * time.Second} {
		r, err := Try(t.Context(), mountLiar(t, &liar{clock: off}), quick)
		if err != nil || !r.ClockKnown || (r.ClockAhead-off).Abs() > 5*time.Second {
			t.Errorf("off by %v: %v, %v, %v", off, r.ClockAhead, r.ClockKnown, err)
		}
	}
}

// A share that takes its time shows it: what is measured follows from how long its answers take, by a clock that only
// they move on.
func TestTryMeasuresDelays(t *testing.T) {
	const step = 10 * time.Millisecond
	var passed atomic.Int64
	dir := mountLiar(t, &liar{fail: func(op uint32, name string) unix.Errno {
		switch {
		case strings.HasPrefix(name, "small-") && (op == opCreate || op == opWrite || op == opFsync || op == opFlush):
			passed.Add(int64(step))
		case name == "stream" && op == opFsync:
			passed.Add(int64(time.Second))
		}
		return 0
	}})
	began := time.Now()
	w := quick
	w.Bytes, w.clock = 4<<20, func() time.Time { return began.Add(time.Duration(passed.Load())) }
	r, err := Try(t.Context(), dir, w)
	if err != nil || len(r.Problems) > 0 || r.PerFile != 4*step {
		t.Errorf("a small file takes %v, want %v: %+v, %v", r.PerFile, 4*step, r, err)
	}
	// The first rate took no time and says nothing, so the parts of the stream are the smallest: a second each.
	if r.Written != 4<<20 || r.Rate != patternBytes || r.RateLow != patternBytes || r.RateHigh != patternBytes {
		t.Errorf("%d bytes at %v (%v to %v), want %d", r.Written, r.Rate, r.RateLow, r.RateHigh, patternBytes)
	}
}
