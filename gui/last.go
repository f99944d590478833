package gui

import (
	"bufio"
	"compress/gzip"
	"encoding/gob"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"loadline/checks"
	"loadline/gui/input"
)

// The last whole report of each stage is kept, so that it opens again in the next start. Checks and
// rules stand in it by their IDs: their texts and sources are the program's own.

// keptReport stands first in the file, then for each check a keptResult and its findings in
// pieces: gob holds a whole value in memory, and there may be a million findings.
type keptReport struct {
	Version           int
	Stage             checks.Stage
	By                string // the version that made the report
	Started, Finished time.Time
	Source            checks.Place
	Sources           []checks.Disk
	Share             *checks.Place
	Totals            checks.Totals
	Verdict           checks.Status
	Machine, Manifest string
	Invented          string
	Interrupted       bool
	Largest           []checks.FolderSum
	Proof             []string
	Checks            int
}

func keptOf(rep *checks.Report) keptReport {
	return keptReport{
		keptVersion, rep.Stage, rep.Version, rep.Started, rep.Finished, rep.Source, rep.Sources, rep.Share, rep.Totals, rep.Verdict,
		rep.Machine, rep.Manifest, rep.Invented, rep.Interrupted, rep.Largest, rep.Proof, len(rep.Checks),
	}
}

// report is what was kept, without its checks. What the write trial measured is not kept: a share may be
// another by the time somebody opens the window again.
func (k *keptReport) report() *checks.Report {
	rep := &checks.Report{
		Stage: k.Stage, Version: k.By, Started: k.Started, Finished: k.Finished, Source: k.Source, Sources: k.Sources, Share: k.Share,
		Totals: k.Totals, Verdict: k.Verdict, Machine: k.Machine, Manifest: k.Manifest, Invented: k.Invented,
		Interrupted: k.Interrupted, Largest: k.Largest, Proof: k.Proof,
		Job: checks.Job{Stage: k.Stage, Source: k.Source.Path},
	}
	if len(k.Sources) > 1 {
		rep.Job.With = k.Sources[1:]
	}
	if k.Share != nil {
		rep.Job.Share, rep.Job.Prefix = k.Share.Path, k.Share.Prefix
	}
	return rep
}

type keptResult struct {
	ID, Summary, Reason string
	Status              checks.Status
	Optional            bool
	Facts               []keptFact
	Rules               map[string]int64
	Levels              [3]int
	Findings            int
}

type keptFact struct {
	Key, Text string
	Number    float64
	IsNumber  bool
	Commands  []string
}

type keptFinding struct {
	Path, Rule, Detail, Remedy string
	Level                      checks.Level
	Size                       int64
	Source                     int
}

const keptVersion = 2

// lastFiles are the names of kept reports; the star stands for a stage.
const lastFiles = "last-*.gob.gz"

func lastFile(dir string, s checks.Stage) string {
	return filepath.Join(dir, strings.Replace(lastFiles, "*", string(s), 1))
}

// keptPiece is how many findings are written at a time.
const keptPiece = 1000

func keep(out *gob.Encoder, rep *checks.Report) error {
	if err := out.Encode(keptOf(rep)); err != nil {
		return err
	}
	for i := range rep.Checks {
		r := &rep.Checks[i]
		kr := keptResult{
			ID: r.ID, Summary: r.Summary, Reason: r.Reason, Status: r.Status, Optional: r.Optional,
			Rules: r.Rules, Levels: r.Levels, Findings: len(r.Findings),
		}
		for _, f := range r.Facts {
			n, ok := number(r, f.Key)
			kr.Facts = append(kr.Facts, keptFact{f.Key, f.Text, n, ok, f.Commands})
		}
		if err := out.Encode(kr); err != nil {
			return err
		}
		piece := make([]keptFinding, 0, min(len(r.Findings), keptPiece))
		for part := range slices.Chunk(r.Findings, keptPiece) {
			piece = piece[:0]
			for j := range part {
				f := &part[j]
				piece = append(piece, keptFinding{f.Path, f.Rule.ID, f.Detail, f.Remedy, f.Level, f.Size, f.Source})
			}
			if err := out.Encode(piece); err != nil {
				return err
			}
		}
	}
	return nil
}

// unkeep reads a kept report and gives it the checks of this program. What this program does not
// know is an error, never left out: a report must not get better by being kept.
func unkeep(in *gob.Decoder, list []*checks.Check) (*checks.Report, error) {
	var k keptReport
	if err := in.Decode(&k); err != nil {
		return nil, err
	}
	if k.Version != keptVersion {
		return nil, errors.New("it was written by another version")
	}
	by := map[string]*checks.Check{}
	for _, c := range list {
		by[c.ID] = c
	}
	rep := k.report()
	for range k.Checks {
		var kr keptResult
		if err := in.Decode(&kr); err != nil {
			return nil, err
		}
		c := by[kr.ID]
		if c == nil {
			return nil, fmt.Errorf("it has a check %q that this version lacks", kr.ID)
		}
		r := checks.Result{
			Check: c, ID: c.ID, Title: c.Title, Status: kr.Status, Summary: kr.Summary, Reason: kr.Reason, Optional: kr.Optional,
			Rules: kr.Rules, Levels: kr.Levels, Worst: map[string]checks.Level{},
		}
		for _, f := range kr.Facts {
			fact := checks.Fact{Key: f.Key, Text: f.Text, Value: f.Text, Commands: f.Commands}
			switch {
			case f.IsNumber:
				fact.Value = f.Number
			case len(f.Commands) > 0:
				fact.Value = f.Commands
			}
			r.Facts = append(r.Facts, fact)
		}
		var err error
		if r.Findings, err = unkeepFindings(in, c, kr.Findings); err != nil {
			return nil, err
		}
		for i := range r.Findings {
			f := &r.Findings[i]
			r.Worst[f.Rule.ID] = max(r.Worst[f.Rule.ID], f.Level)
		}
		rep.Checks = append(rep.Checks, r)
	}
	return rep, nil
}

func unkeepFindings(in *gob.Decoder, c *checks.Check, n int) ([]checks.Finding, error) {
	rules := map[string]*checks.Rule{}
	for _, r := range c.Rules {
		rules[r.ID] = r
	}
	var all []checks.Finding
	for len(all) < n {
		var piece []keptFinding
		if err := in.Decode(&piece); err != nil {
			return nil, err
		}
		if len(piece) == 0 {
			return nil, errors.New("it is incomplete")
		}
		for _, f := range piece {
			rule := rules[f.Rule]
			if rule == nil {
				return nil, fmt.Errorf("it has a rule %q that this version lacks", f.Rule)
			}
			all = append(all, checks.Finding{Path: f.Path, Source: f.Source, Rule: rule, Level: f.Level, Size: f.Size, Detail: f.Detail, Remedy: f.Remedy})
		}
	}
	return all, nil
}

func writeLast(dir string, rep *checks.Report) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	return checks.Replace(lastFile(dir, rep.Stage), func(out io.Writer) error {
		z, err := gzip.NewWriterLevel(out, gzip.BestSpeed)
		if err != nil {
			return err
		}
		if err := keep(gob.NewEncoder(z), rep); err != nil {
			return err
		}
		return z.Close()
	})
}

func readLast(dir string, s checks.Stage, list []*checks.Check) (*checks.Report, error) {
	f, err := os.Open(lastFile(dir, s))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	z, err := gzip.NewReader(bufio.NewReaderSize(f, 1<<16))
	if err != nil {
		return nil, err
	}
	return unkeep(gob.NewDecoder(z), list)
}

// keepReport keeps a whole report beside the window. A demo's is not kept.
func (w *Window) keepReport(rep *checks.Report) {
	if w.desktop.StateDir == "" || rep.Invented != "" || w.standIn != nil {
		return
	}
	w.writes.Add(1)
	go func() {
		err := writeLast(w.desktop.StateDir, rep)
		w.writes.Done()
		w.desktop.Post(func() {
			if err != nil {
				w.tell(checks.Warned, "This report could not be kept for the next start: "+err.Error()+". Save it yourself.")
			}
			w.changed()
		})
	}()
}

func (w *Window) hasLast(s checks.Stage) bool {
	if w.desktop.StateDir == "" {
		return false
	}
	_, err := os.Stat(lastFile(w.desktop.StateDir, s))
	return err == nil
}

func (w *Window) openLast() {
	v := w.view()
	switch {
	case w.running != "":
		w.tellWhile(w.whileRunning(), checks.Waiting, "A check is still running. You can open the last report when it has finished.")
		return
	case !w.hasLast(v.stage):
		here := w.onThisPage()
		w.tellWhile(func() bool { return here() && !w.hasLast(v.stage) }, checks.Waiting, "No report of “"+stageWords[v.stage].name+"” has been kept yet.")
		return
	}
	list := w.engine.List(v.stage)
	go func() {
		rep, err := readLast(w.desktop.StateDir, v.stage, list)
		w.desktop.Post(func() {
			switch {
			case w.running != "":
			case errors.Is(err, fs.ErrNotExist):
				w.tell(checks.Waiting, "No report has been kept yet.")
			case err != nil:
				w.tell(checks.Warned, "The last report cannot be opened: "+err.Error()+". Check again to get a new one.")
			default:
				w.reopen(v, rep)
			}
		})
	}()
}

// reopen fills a stage with a report that was kept.
func (w *Window) reopen(v *view, rep *checks.Report) {
	w.mute = true
	switch v.stage {
	case checks.Arrival:
		v.setup.from.put(rep.Manifest)
	case checks.Recheck:
		v.setup.from.put(rep.Manifest)
		v.setup.to.put(rep.Source.Path)
	default:
		v.setup.from.put(rep.Source.Path)
		share := ""
		if rep.Share != nil {
			share = rep.Share.Path
			v.setup.options.prefix.SetText(input.ShowPath(rep.Share.Prefix))
		}
		v.setup.to.put(share)
		if v.setup.disks != nil {
			v.setup.disks.put(rep.Job.With)
		}
	}
	w.mute = false
	w.showDisks(v)
	v.asked = v.places()
	w.show(pageChecks)
	v.setReport(rep, stateDone)
	w.offerMore(v)
	v.setup.setFolded(true)
	w.changed()
	w.tellWhile(func() bool { return v.report == rep && w.view() == v }, checks.Waiting, "This is the report of "+rep.Finished.Local().Format("2 January 2006, 15:04")+". The disk may have changed since.")
}
