// Package pack makes what people install: packages, archives and the bundle, from one clone, with the
// same bytes every time. It builds with the go command, draws the icons, makes manual, completion and
// handbook from the program itself, and leaves the formats of packages to the tools pinned in
// .ci/tools.
//
// Every file that a person gets stands in one of the trees that linuxTree, windowsTree and macTree
// return; the rest turns trees into archives.
package pack

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"loadline/checks"
)

// A Packer makes packages in a folder. The current folder must be that of go.mod.
type Packer struct {
	Out    string                                                                          // new or empty; made if missing
	Say    io.Writer                                                                       // what is being done, a line each
	Run    func(ctx context.Context, env []string, name string, args ...string) error      // runs a program that must succeed
	Tool   func(ctx context.Context, env []string, tool string, args ...string) error      // the same for a pinned tool
	Ask    func(ctx context.Context, name string, args ...string) (answer string, _ error) // its standard output
	When   time.Time                                                                       // date of all files; zero: SOURCE_DATE_EPOCH, else that of the commit
	System string                                                                          // GOOS of this machine

	work string // for what is on its way
}

// WindowTags go with every build of the window: another set would build the toolkit anew, which takes
// minutes.
const WindowTags = "migrated_fynedo"

// Names that every system wants in its own words.
const (
	program = "loadline"     // the window
	command = "loadline-cli" // the command
	// componentID is a name in reverse domain order, as AppStream and Apple want one. The domain
	// "example" is reserved (RFC 2606, 2): it can be nobody's.
	componentID = "example.loadline.Loadline"
	summary     = "Check a disk before it is copied to a transfer appliance"
	copyright   = "Copyright (c) 2026, The Loadline authors"
)

// version is that of all packages.
const version = checks.Version

// Make makes everything that this system can make, and SHA256SUMS over it. On Linux that is all but
// the window for macOS, which needs a Mac; on a Mac it is the bundle with the window in it. It stops
// at the first fault and then leaves Out as it found it.
func (p *Packer) Make(ctx context.Context) (err error) {
	if p.System != "linux" && p.System != "darwin" {
		return fmt.Errorf("packages are made on Linux, those for a Mac on a Mac; this is %s", p.System)
	}
	if err := p.prepare(ctx); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(p.work)) }()
	done := filepath.Join(p.work, "done")
	if err := os.Mkdir(done, 0o755); err != nil {
		return err
	}
	makers := []func(context.Context, string) error{p.linux, p.windows, p.macCommands, p.macFrame, p.boms}
	if p.System == "darwin" {
		makers = []func(context.Context, string) error{p.macCommands, p.macBundle}
	}
	for _, m := range makers {
		if err := m(ctx, done); err != nil {
			return err
		}
	}
	if err := writeSums(done); err != nil {
		return err
	}
	return moveAll(done, p.Out)
}

// prepare sees that Out is empty, settles the date, and makes the folder for what is on its way: inside
// Out, so that what is ready is put in its place by a rename.
func (p *Packer) prepare(ctx context.Context) error {
	if p.Out == "" {
		return errors.New("say where the packages shall lie: -o DIR")
	}
	if err := os.MkdirAll(p.Out, 0o755); err != nil {
		return err
	}
	there, err := os.ReadDir(p.Out)
	if err != nil {
		return err
	}
	if len(there) > 0 {
		return fmt.Errorf("%s is not empty; packages of two versions side by side are mixed up all too easily: choose a new folder", p.Out)
	}
	if p.When.IsZero() {
		if p.When, err = p.date(ctx, os.Getenv("SOURCE_DATE_EPOCH")); err != nil {
			return err
		}
	}
	if changed, err := p.Ask(ctx, "git", "status", "--porcelain"); err != nil {
		return fmt.Errorf("packages are made in a clone, so that they can say which commit they are: %w", err)
	} else if changed != "" {
		fmt.Fprintf(p.Say, "These packages hold changes that are in no commit, and say so of themselves:\n%s\n", changed)
	}
	p.work, err = os.MkdirTemp(p.Out, ".making-")
	return err
}

// date is what all files are dated: SOURCE_DATE_EPOCH (reproducible-builds.org, "SOURCE_DATE_EPOCH
// specification") where it is set, else the date of the commit.
func (p *Packer) date(ctx context.Context, epoch string) (time.Time, error) {
	where := "SOURCE_DATE_EPOCH"
	if epoch == "" {
		where = "the date of the commit"
		var err error
		if epoch, err = p.Ask(ctx, "git", "log", "-1", "--format=%ct"); err != nil {
			return time.Time{}, fmt.Errorf("packages take their date from the commit, or from SOURCE_DATE_EPOCH: %w", err)
		}
	}
	n, err := strconv.ParseInt(strings.TrimSpace(epoch), 10, 64)
	if err != nil || n < 315532800 || n >= 1<<32 { // a zip archive knows no date before 1980
		return time.Time{}, fmt.Errorf("%s is %q, want seconds since 1970, of 1980 or later", where, epoch)
	}
	return time.Unix(n, 0).UTC(), nil
}

// moveAll puts everything in one folder into another.
func moveAll(from, to string) error {
	all, err := os.ReadDir(from)
	if err != nil {
		return err
	}
	for _, e := range all {
		if err := os.Rename(filepath.Join(from, e.Name()), filepath.Join(to, e.Name())); err != nil {
			return err
		}
	}
	return nil
}
