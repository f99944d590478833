package before

import (
	"context"
	"errors"
	"io/fs"
	"sync"
	"time"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/walk"
)

var (
	changedDuringCheck = &checks.Rule{
		ID: "changed-during-check", Level: checks.Fail,
		When:   "size or date differs between two looks",
		Fix:    "Wait until the program that writes it has finished, then check again.",
		Source: "measured: a growing file was copied short, without an error",
	}
	justWritten = &checks.Rule{
		ID: "just-written", Level: checks.Warn,
		When:   "the file was changed less than 60 s ago",
		Fix:    "Make sure that nothing writes to the disk any more, then check again.",
		Source: "common practice, no source",
	}
)

const (
	fresh = 60 * time.Second // just-written (common practice, no source)
	// lookAgain is how young a file must be to be looked at twice: what is still being written was
	// written not long ago. It allows for file systems that are slow to record the date.
	lookAgain = 10 * time.Minute
	// betweenLooks is the least time between two looks at a file.
	betweenLooks = 2 * time.Second
	// looksKept bounds the memory for second looks of one worker.
	looksKept = 100_000
)

// pause waits for a while, or until ctx ends. Tests that are not about the wait do without it.
var pause = func(ctx context.Context, d time.Duration) error {
	wait := time.NewTimer(d)
	defer wait.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-wait.C:
		return nil
	}
}

// look is what was seen of a file at first.
type look struct {
	source int
	path   string
	size   int64
	sec    int64
	nsec   int32
}

type changingState struct {
	mu    sync.Mutex
	looks []look
	more  int64 // young files beyond looksKept
	last  time.Time
}

var stillChanging = &checks.Check{
	ID: "still-changing", Title: "Nothing is still being written", Group: checks.GroupFiles,
	Doc: "Looks twice at every file that was changed in the last ten minutes, at least two seconds apart. A " +
		"file that grows while it is copied arrives short, without an error.",
	Fix:   "Close whatever is writing to the disk, wait a minute, then check again.",
	Rules: []*checks.Rule{changedDuringCheck, justWritten},
	Begin: func(*checks.Pass) any { return &changingState{} },
	Visit: func(pass *checks.Pass, d *walk.Dir) {
		s := pass.State.(*changingState)
		now := pass.Job.Now()
		young := now.Add(-lookAgain).Unix()
		for i := range d.Entries {
			e := &d.Entries[i]
			if e.Sec < young || e.Kind != walk.File || e.Failed || names.Own(e.Name) {
				continue
			}
			// Dates a little ahead of the clock are as suspicious: some disks round up by 2 s.
			if age := now.Sub(e.ModTime()); age < fresh && age > -fresh {
				pass.Flag(d, e, justWritten, "changed %s ago", checks.Span(max(age, 0).Round(time.Second)))
			}
			s.remember(look{d.Source, d.Join(e.Name), e.Size, e.Sec, e.Nsec})
		}
	},
	Finish: func(ctx context.Context, pass *checks.Pass) error {
		s := pass.State.(*changingState)
		if len(s.looks) > 0 {
			if err := pause(ctx, betweenLooks-time.Since(s.last)); err != nil {
				return err
			}
		}
		for _, l := range s.looks {
			if err := ctx.Err(); err != nil {
				return err
			}
			compareLooks(pass, l)
		}
		pass.Fact("looked_twice", len(s.looks), "%s looked at twice", checks.Plural(int64(len(s.looks)), "young file"))
		if s.more > 0 {
			pass.Fact("looked_once", s.more, "%s more looked at once only", checks.Count(s.more))
		}
		pass.Summarize("%s changed in the last ten minutes; %s while this check ran.", checks.Plural(int64(len(s.looks))+s.more, "file"), checks.Count(pass.Total(changedDuringCheck)))
		return nil
	},
}

func (s *changingState) remember(l look) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.last = time.Now()
	if len(s.looks) >= looksKept {
		s.more++
		return
	}
	s.looks = append(s.looks, l)
}

// compareLooks looks at a file once more and flags it if it is another than at first.
func compareLooks(pass *checks.Pass, l look) {
	e, err := walk.Look(pass.Job.Disk(l.source).Source, l.path)
	f := checks.Finding{Path: l.path, Source: l.source, Rule: changedDuringCheck, Level: changedDuringCheck.Level, Size: l.size}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		f.Detail = "there at the first look, gone at the second"
	case err != nil:
		f.Detail = "could not be looked at again: " + checks.Reason(err)
	case e.Size != l.size:
		f.Detail = checks.Count(l.size) + " bytes at the first look, " + checks.Count(e.Size) + " at the second"
	case e.Sec != l.sec || e.Nsec != l.nsec:
		f.Detail = "its date changed between two looks"
	default:
		return
	}
	pass.Add(f)
}
