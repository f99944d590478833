//go:build linux

package before

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/txtar"

	"loadline/checks"
	"loadline/checks/share"
)

// Cases are trees in, reports out. Each file of testdata/cases holds, under a line on what it shows,
//
//	-- job --    KEY VALUE lines: prefix, key-bytes, object-bytes, portable, no-trial, read, link, uplink, battery,
//	             box, source-rate, source-usb
//	-- share --  the share, where there is one: KEY VALUE lines for the mount (type, from, options,
//	             free, total, inodes, name-limit, version, system, same-disk, platform, status) and what the trial is to
//	             have measured (trial KEY VALUE)
//	-- tree --   the source, in the notation of grow
//	-- want --   every finding: CHECK RULE LEVEL PATH: DETAIL, then RULE: N for what is counted only
//
// The mount and the measurements stand for shares that no machine has at hand; real mounts and a real
// NFS server have tests of their own.

const casesDir = "../../testdata/cases"

var update = flag.Bool("update", false, "write what the cases say anew")

func TestCases(t *testing.T) {
	files, err := filepath.Glob(casesDir + "/*.txtar")
	if err != nil || len(files) == 0 {
		t.Fatalf("no cases: %v", err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) { runCase(t, file) })
	}
}

func runCase(t *testing.T, file string) {
	a, err := txtar.ParseFile(file)
	if err != nil {
		t.Fatal(err)
	}
	c := aCase{job: checks.Job{Source: filepath.Join(realTemp(t), "source")}}
	if err := os.Mkdir(c.job.Source, 0o755); err != nil {
		t.Fatal(err)
	}
	want := -1
	for i, f := range a.Files {
		lines := slices.DeleteFunc(strings.Split(string(f.Data), "\n"), func(l string) bool {
			return strings.TrimSpace(l) == "" || strings.HasPrefix(l, "#")
		})
		switch f.Name {
		case "tree":
			grow(t, c.job.Source, lines...)
		case "job", "share":
			for _, l := range lines {
				key, value, _ := strings.Cut(l, " ")
				if err := c.set(t, f.Name, key, value); err != nil {
					t.Fatalf("%s: %q: %v", file, l, err)
				}
			}
		case "want":
			want = i
		default:
			t.Fatalf("%s has a part %q", file, f.Name)
		}
	}
	if want < 0 {
		t.Fatalf("%s says not what it wants", file)
	}
	if c.measured != nil {
		c.pretend(t)
	}
	got := []byte(summary(examine(t, c.job)))
	if *update {
		a.Files[want].Data = got
		if err := os.WriteFile(file, txtar.Format(a), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(got, a.Files[want].Data) {
		t.Errorf("%s: the report says\n%s\nwant\n%s", file, got, a.Files[want].Data)
	}
}

// summary is what a case compares of a report.
func summary(rep *checks.Report) string {
	var b strings.Builder
	for i := range rep.Checks {
		c := &rep.Checks[i]
		for _, f := range c.Findings {
			if f.Rule != onBattery { // that of the machine which runs the test
				detail := f.Detail
				if rep.Share != nil {
					detail = strings.ReplaceAll(detail, rep.Share.Path, "SHARE")
				}
				detail = strings.ReplaceAll(detail, filepath.Dir(rep.Source.Path), "BASE")
				fmt.Fprintf(&b, "%s %s %s %s: %s\n", c.ID, f.Rule.ID, f.Level, short(f.Path), detail)
			}
		}
		for _, r := range c.Check.Rules {
			if n := c.Rules[r.ID]; r.Counted && n > 0 {
				fmt.Fprintf(&b, "%s %s: %d\n", c.ID, r.ID, n)
			}
		}
	}
	return b.String()
}

// short writes a path so that every byte of it shows, long runs as {x*N}.
func short(p string) string {
	if p == "" {
		return "(the copy as a whole)"
	}
	q := strings.Trim(strconv.QuoteToASCII(p), `"`)
	return shorter(shorter(q))
}

func shorter(q string) string {
	for i := 0; i < len(q); i++ {
		for size := 1; size <= 10 && i+size <= len(q); size++ {
			part := q[i : i+size]
			n := 1
			for strings.HasPrefix(q[i+n*size:], part) {
				n++
			}
			if n*size > 30 {
				run := fmt.Sprintf("{%s*%d}", part, n)
				q = q[:i] + run + q[i+n*size:]
				i += len(run) - 1
				break
			}
		}
	}
	return q
}

type aCase struct {
	job      checks.Job
	measured *share.Result
}

func (c *aCase) set(t *testing.T, part, key, value string) (err error) {
	number := func() int64 {
		n, e := sizeOf(value)
		err = errors.Join(err, e)
		return n
	}
	duration := func() time.Duration {
		d, e := time.ParseDuration(value)
		err = errors.Join(err, e)
		return d
	}
	if part == "share" {
		return c.setShare(t, key, value, number)
	}
	switch j := &c.job; key {
	case "prefix":
		j.Prefix = spread(value)
	case "key-bytes":
		j.KeyBytes = int(number())
	case "object-bytes":
		j.ObjectBytes = number()
	case "portable":
		j.Portable = true
	case "no-trial":
		j.NoTrial = true
	case "read":
		j.Read = true
	case "link":
		j.Link, err = checks.ParseRate(value)
	case "uplink":
		j.Uplink, err = checks.ParseRate(value)
	case "battery":
		j.Battery = duration()
	case "box":
		j.Box = number()
	case "source-rate", "source-usb":
		if j.StandInSource == nil {
			j.StandInSource = &checks.SourceFacts{}
		}
		bits, e := checks.ParseRate(value)
		if key == "source-usb" {
			j.StandInSource.USB, err = bits, e
		} else {
			j.StandInSource.Rate, err = bits/8, e
		}
	default:
		err = errors.New("no such key")
	}
	return err
}

func (c *aCase) setShare(t *testing.T, key, value string, number func() int64) (err error) {
	if c.job.StandIn == nil {
		// A share path of 32 bytes, for the rules on whole paths.
		dir := fmt.Sprintf("/dev/shm/loadline-case-%09d", os.Getpid())
		if err := os.Mkdir(dir, 0o755); err != nil {
			return err
		}
		t.Cleanup(func() { os.RemoveAll(dir) })
		c.job.Share = dir
		c.job.StandIn = &share.Facts{
			Path: dir, Network: true, Invented: "the share of a case", Platform: share.Linux,
			Mount: share.Mount{From: "appliance.invalid:/archive", Point: dir, Root: "/", Type: "nfs4", Options: []string{"rw", "hard", "proto=tcp", "timeo=600"}},
			Space: share.Space{Free: 1e12, Total: 1e12, FreeInodes: 1e6, TotalInodes: 1e6, NameLimit: 255},
		}
	}
	f := c.job.StandIn
	switch key {
	case "type":
		f.Mount.Type = value
		f.Network = strings.HasPrefix(value, "nfs")
	case "from":
		f.Mount.From = value
	case "options":
		f.Mount.Options = strings.Split(value, ",")
	case "platform":
		f.Platform = share.Platform(value)
	case "status":
		f.Mount.Status = append(f.Mount.Status, value)
	case "version":
		f.Version = value
	case "free":
		f.Space.Free = number()
	case "total":
		f.Space.Total = number()
	case "inodes":
		f.Space.FreeInodes = number()
	case "name-limit":
		f.Space.NameLimit = int(number())
	case "system":
		f.System = true
	case "same-disk":
		f.Invented = ""
		f.Path = filepath.Dir(c.job.Source) // the folder that holds it
	case "trial":
		if c.measured == nil {
			c.measured = &share.Result{NamesTried: true, NameLimit: 255}
		}
		key, value, _ = strings.Cut(value, " ")
		return c.setTrial(key, value)
	default:
		return errors.New("no such key")
	}
	f.NFS = strings.HasPrefix(f.Mount.Type, "nfs")
	return err
}

func (c *aCase) setTrial(key, value string) (err error) {
	m := c.measured
	switch key {
	case "passes":
	case "cached":
		m.FromCache = true
	case "cuts-short":
		m.CutsShort = true
	case "folds-case":
		m.FoldsCase = true
	case "folds-forms":
		m.FoldsForms = true
	case "name-limit":
		m.NameLimit, err = strconv.Atoi(value)
	case "unit":
		m.Unit, err = strconv.ParseInt(value, 10, 64)
	case "rate":
		m.Rate, err = strconv.ParseFloat(value, 64)
	case "per-file":
		m.PerFile, err = time.ParseDuration(value)
	case "clock":
		m.ClockKnown = true
		m.ClockAhead, err = time.ParseDuration(value)
	case "left":
		m.LeftBehind = append(m.LeftBehind, value)
	case "refuses":
		m.Refused = append(m.Refused, share.Refusal{Rune: []rune(value)[0], Err: errors.New("invalid argument")})
	case "changes":
		m.Refused = append(m.Refused, share.Refusal{Habit: value, Back: "x"})
	case "problem":
		rule, detail, _ := strings.Cut(value, " ")
		m.Problems = append(m.Problems, share.Problem{Rule: rule, Detail: detail})
	default:
		err = errors.New("no such measurement")
	}
	return err
}

// pretend puts measurements in place of the trial. The check that uses them is the real one.
func (c *aCase) pretend(t *testing.T) {
	finish := shareWrites.Finish
	t.Cleanup(func() { shareWrites.Finish = finish })
	shareWrites.Finish = func(_ context.Context, pass *checks.Pass) error {
		if pass.Job.NoTrial {
			return noTrial
		}
		pass.State = c.measured
		judgeTrial(pass, c.measured)
		return nil
	}
}

// seenBy are rules that no tree in a case can show, and the test that shows each.
var seenBy = map[*checks.Rule]string{
	wirelessLink:       "TestLinkAndPower",
	slowLink:           "TestLinkAndPower",
	onBattery:          "TestLinkAndPower",
	folderUnreadable:   "TestUnreadable",
	fileUnreadable:     "TestUnreadable",
	readError:          "TestReadErrors",
	vanished:           "TestVanished",
	changedDuringCheck: "TestChanged",
	accessList:         "TestFind",
	otherMount:         "TestBindCycle",
	folderLoop:         "TestBindCycle",
	hugeFolder:         "TestHugeFolder",
	leftOffList:        "TestLeftOffList",
	disksCollide:       "TestDisksCollide",
	attributesSampled:  "TestAttributesOfALargeDisk",
	readFails:          "TestDamagedDisk",
	slowReading:        "TestSlowReading",
	sourceRotted:       "TestReadRotted",
	diskErrors:         "TestDiskErrors",
	datalessFile:       "TestFlagsOfAMac",
}

// TestEveryRuleHasACase finds rules without case or source, and cases of rules that are none.
func TestEveryRuleHasACase(t *testing.T) {
	inCases := map[string]bool{}
	files, err := filepath.Glob(casesDir + "/*.txtar")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		a, err := txtar.ParseFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range a.Files {
			if f.Name != "want" {
				continue
			}
			for line := range strings.Lines(string(f.Data)) {
				if w := strings.Fields(line); len(w) > 1 {
					inCases[strings.TrimSuffix(w[1], ":")] = true
				}
			}
		}
	}
	var tests bytes.Buffer
	sources, err := filepath.Glob("*_test.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range sources {
		text, err := os.ReadFile(s)
		if err != nil {
			t.Fatal(err)
		}
		tests.Write(text)
	}
	known := map[string]bool{}
	for _, c := range List() {
		for _, r := range c.Rules {
			known[r.ID] = true
			if r.Source == "" {
				t.Errorf("rule %s has no source", r.ID)
			}
			test := seenBy[r]
			switch {
			case test == "" && !inCases[r.ID]:
				t.Errorf("rule %s has no case", r.ID)
			case test != "" && !bytes.Contains(tests.Bytes(), []byte("\nfunc "+test+"(t *testing.T)")):
				t.Errorf("rule %s is left to %s, which is not there", r.ID, test)
			case test != "" && inCases[r.ID]:
				t.Errorf("rule %s has a case; it need not be left to %s", r.ID, test)
			}
		}
	}
	for id := range inCases {
		if !known[id] {
			t.Errorf("a case wants rule %s, which is none", id)
		}
	}
}
