package before

import (
	"context"
	"slices"
	"strings"

	"loadline/checks"
	"loadline/checks/internal/disk"
	"loadline/checks/share"
)

// askDisk reports bad signs that the system and the disks know of.
func (e *everyByte) askDisk(ctx context.Context, pass *checks.Pass) {
	var asked []string
	for _, d := range e.disks {
		for _, ask := range []func() ([]disk.Trouble, []string, error){
			func() ([]disk.Trouble, []string, error) { return disk.Troubles(d.root) },
			func() ([]disk.Trouble, []string, error) { return disk.Health(ctx, d.root) },
		} {
			type answer struct {
				found []disk.Trouble
				asked []string
			}
			a, err := share.Guard(ctx, pass.Job.Deadline, func() (answer, error) {
				found, asked, err := ask()
				return answer{found, asked}, err
			})
			if err != nil {
				continue // nothing is known, and nothing is made of it
			}
			for _, t := range a.found {
				pass.Add(checks.Finding{Source: d.number, Rule: diskErrors, Level: diskErrors.Level, Detail: checks.Plain(t.String())})
			}
			for _, what := range a.asked {
				if !slices.Contains(asked, what) {
					asked = append(asked, what)
				}
			}
		}
	}
	if len(asked) > 0 {
		pass.Fact("disk_signs", strings.Join(asked, ", "), "Checked for signs of a failing disk: %s", checks.Plain(strings.Join(asked, ", ")))
	}
}
