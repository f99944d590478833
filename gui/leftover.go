package gui

import (
	"context"
	"errors"

	"loadline/checks"
	"loadline/checks/share"
)

// ruleTrialLeft is the rule that a trial folder of an earlier check is on the share. The window
// offers to remove it: it is our own.
const ruleTrialLeft = "trial-left-behind"

// askClean asks before the trial folders of earlier checks are removed from the share.
func (w *Window) askClean() {
	rep := w.view().report
	if rep == nil || rep.Share == nil || w.running != "" {
		return
	}
	folder := rep.Share.Path
	w.ask("clean", "Remove the trial folder?", "An earlier check was cut off and left its trial folder on the share. It is removed only if its marker proves that a check made it and nothing else is in it.",
		"Remove it", "Leave it", func() {
			go func() {
				n, err := removeTrials(context.Background(), folder)
				w.desktop.Post(func() {
					if err != nil {
						w.tell(checks.Warned, "Not removed: "+oneLine(err.Error())+".")
						return
					}
					w.tellWhile(func() bool { return w.view().report == rep }, checks.Passed, checks.Many(int64(n), "trial folder is", "trial folders are")+" removed. Check again.")
				})
			}()
		})
}

// removeTrials removes the trial folders that earlier checks left on a share, and counts them.
func removeTrials(ctx context.Context, folder string) (n int, err error) {
	left, err := share.LeftBehind(ctx, folder)
	if err != nil {
		return 0, err
	}
	var errs []error
	for _, l := range left {
		if err := share.Remove(ctx, l); err != nil {
			errs = append(errs, err)
		} else {
			n++
		}
	}
	return n, errors.Join(errs...)
}
