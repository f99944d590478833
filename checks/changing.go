package checks

import (
	"context"
	"errors"
	"io/fs"
	"sync"
	"time"

	"loadline/checks/names"
	"loadline/checks/walk"
)

var (
	changedDuringCheck = &Rule{
		ID: "changed-during-check", Level: Fail,
		When:   "size or date differs between two looks",
		Fix:    "Wait until the program that writes it has ended, then check again.",
		Source: "measured: a growing file was copied short, without an error",
	}
	justWritten = &Rule{
		ID: "just-written", Level: Warn,
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

// look is what was seen of a file at first.
type look struct {
	path string
	size int64
	sec  int64
	nsec int32
}

type changingState struct {
	mu    sync.Mutex
	looks []look
	more  int64 // young files beyond looksKept
	last  time.Time
}

var stillChanging = &Check{
	ID: "still-changing", Title: "Nothing is still being written", Group: GroupFiles,
	Doc: "Looks twice at every file that was changed in the last ten minutes, at least two seconds apart. A " +
		"file that grows while it is copied arrives short, without an error.",
	Fix:   "Close what writes to the disk, wait a minute, then check again.",
	Rules: []*Rule{changedDuringCheck, justWritten},
	Begin: func(*Pass) any { return &changingState{} },
	Visit: func(pass *Pass, d *walk.Dir) {
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
				pass.Flag(d, e, justWritten, "changed %s ago", Span(max(age, 0).Round(time.Second)))
			}
			s.remember(look{d.Join(e.Name), e.Size, e.Sec, e.Nsec})
		}
	},
	Finish: func(ctx context.Context, pass *Pass) error {
		s := pass.State.(*changingState)
		if len(s.looks) > 0 {
			wait := time.NewTimer(betweenLooks - time.Since(s.last))
			defer wait.Stop()
			select {
			case <-ctx.Done():
				return ctx.Err()
			case <-wait.C:
			}
		}
		for _, l := range s.looks {
			if err := ctx.Err(); err != nil {
				return err
			}
			pass.lookAgainAt(l)
		}
		pass.Fact("looked_twice", len(s.looks), "%s looked at twice", Plural(int64(len(s.looks)), "young file"))
		if s.more > 0 {
			pass.Fact("looked_once", s.more, "%s more looked at once only", Count(s.more))
		}
		pass.Summarize("%s changed in the last ten minutes; %s while this check ran.", Plural(int64(len(s.looks))+s.more, "file"), Count(pass.Total(changedDuringCheck)))
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

func (pass *Pass) lookAgainAt(l look) {
	e, err := walk.Look(pass.Job.Source, l.path)
	f := Finding{Path: l.path, Rule: changedDuringCheck, Level: changedDuringCheck.Level, Size: l.size}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		f.Detail = "there at the first look, gone at the second"
	case err != nil:
		f.Detail = "could not be looked at again: " + reasonOf(err)
	case e.Size != l.size:
		f.Detail = Count(l.size) + " bytes at the first look, " + Count(e.Size) + " at the second"
	case e.Sec != l.sec || e.Nsec != l.nsec:
		f.Detail = "its date changed between two looks"
	default:
		return
	}
	pass.Add(f)
}
