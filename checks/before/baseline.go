package before

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"time"

	"loadline/checks"
	"loadline/checks/internal/disk"
	"loadline/checks/internal/sums"
	"loadline/checks/manifest"
	"loadline/checks/names"
	"loadline/checks/share"
)

// writeBaseline writes what was read whole as a manifest.
func (e *diskReading) writeBaseline(ctx context.Context, pass *checks.Pass) error {
	job := pass.Job
	if job.Baseline == "" {
		return nil
	}
	pass.Phase(checks.Phase{Text: "Writing the baseline"})
	t := pass.Tally()
	h := &manifest.Header{
		Made: job.Now(), Source: job.Source, Prefix: job.Prefix, Links: t.Links, Others: t.Others,
		LeftOff: t.Files - t.Copy.Files, Unread: t.Copy.Files - e.files,
	}
	for f, m := range e.list.Sorted() {
		if m.Done {
			h.Files++
			h.Bytes += f.Size
		}
	}
	err := share.Call(ctx, flushPatience, func() error {
		return disk.WriteNew(job.Baseline, func(w io.Writer) error {
			return manifest.Write(w, h, func(yield func(*manifest.File) bool) {
				var out manifest.File
				for f, m := range e.list.Sorted() {
					if !m.Done {
						continue
					}
					out = manifest.File{Path: []byte(f.Path), Size: f.Size, Sums: sums.Sums{SHA256: m.SHA256}}
					if m.Before != 0 {
						out.Read = time.Unix(m.Before, 0)
					}
					if !yield(&out) {
						return
					}
				}
			})
		})
	})
	if err != nil {
		again := e.kept()
		if e.remembers() {
			again += ", so reading again with another file takes no time"
		}
		return fmt.Errorf("the baseline could not be written to %s: %s; %s", names.Quote(filepath.Base(job.Baseline)), checks.Reason(err), again)
	}
	pass.Fact("baseline", job.Baseline, "Baseline: %s, %s", names.Quote(job.Baseline), checks.Plural(h.Files, "file"))
	if h.Unread > 0 {
		pass.Fact("baseline_unread", h.Unread, "Not in it, since they could not be read whole: %s", checks.Plural(h.Unread, "file"))
	}
	return nil
}

// flushPatience is how long writing the baseline may take.
const flushPatience = 15 * time.Minute
