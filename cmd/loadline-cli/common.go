package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/adrg/xdg"
	"golang.org/x/term"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/share"
)

// newFlags returns a flag set that reports to stderr and exits nowhere.
func newFlags(name, arguments string, stderr io.Writer) *flag.FlagSet {
	fs := flag.NewFlagSet(name, flag.ContinueOnError)
	fs.SetOutput(stderr)
	fs.Usage = func() {
		fmt.Fprintf(stderr, "usage: loadline-cli %s [flags] %s\n", name, arguments)
		fs.PrintDefaults()
	}
	return fs
}

// exit ends a command with a status; what there is to say of it has been said.
type exit int

func (e exit) Error() string { return fmt.Sprintf("exit status %d", int(e)) }

// misused shows how a command is used, for arguments that it does not take.
func misused(fs *flag.FlagSet) error {
	fs.Usage()
	return exit(exitError)
}

// parseCount is parse for a command that takes from least to most arguments.
func parseCount(fs *flag.FlagSet, args []string, least, most int) ([]string, error) {
	rest, err := parse(fs, args)
	if err == nil && (len(rest) < least || len(rest) > most) {
		err = misused(fs)
	}
	return rest, err
}

// parsePlaces is parseCount for a command that takes its places from the demo where that is asked for.
func parsePlaces(fs *flag.FlagSet, args []string, demo *bool, places string, least, most int) ([]string, error) {
	rest, err := parse(fs, args)
	switch {
	case err != nil:
		return nil, err
	case *demo && len(rest) > 0:
		return nil, errDemoPlaces(places)
	case !*demo && (len(rest) < least || len(rest) > most):
		return nil, misused(fs)
	}
	return rest, nil
}

// parse reads flags wherever they stand and returns the other arguments. Behind "--" everything is
// an argument.
func parse(fs *flag.FlagSet, args []string) ([]string, error) {
	if d, ok := fs.Output().(*description); ok {
		d.flags = fs
		return nil, exit(exitGood)
	}
	var rest []string
	for len(args) > 0 {
		switch err := fs.Parse(args); { // which says what is wrong itself
		case errors.Is(err, flag.ErrHelp):
			return nil, exit(exitGood)
		case err != nil:
			return nil, exit(exitError)
		}
		left := fs.Args()
		if n := len(args) - len(left); n > 0 && args[n-1] == "--" {
			return append(rest, left...), nil
		}
		if len(left) == 0 {
			break
		}
		rest = append(rest, left[0])
		args = left[1:]
	}
	return rest, nil
}

// status says what a command ended with, if there is anything to say, and returns the exit status that it stands for.
func status(stderr io.Writer, err error) int {
	var e exit
	switch {
	case err == nil:
		return exitGood
	case errors.As(err, &e):
		return int(e)
	}
	return fault(stderr, err)
}

// fault prints what went wrong and returns the exit status of it.
func fault(stderr io.Writer, err error) int {
	if errors.Is(err, context.Canceled) {
		err = errors.New("stopped")
	}
	fmt.Fprintf(stderr, "loadline-cli: %s\n", checks.Plain(err.Error()))
	return exitError
}

// output says where a report goes and in which form.
type output struct {
	json bool
	file string
}

func (o *output) register(fs *flag.FlagSet) {
	fs.BoolVar(&o.json, "json", false, "print the report as JSON")
	fs.StringVar(&o.file, "o", "", "write the report to `FILE` instead of standard output; an existing file is never overwritten")
}

// check refuses a file that cannot be written, or must not be since it is in a source, before any work is
// done.
func (o *output) check(sources ...string) error {
	if o.file == "" {
		return nil
	}
	return guarded(o.file, share.DefaultDeadline, func() error { return placeable(o.file, sources) })
}

// writeReport writes a report; its error is the exit status that it stands for, if it is none of the good.
func (o *output) writeReport(rep *checks.Report, stdout io.Writer) error {
	if err := o.write(stdout, func(w io.Writer) error {
		if o.json {
			return rep.WriteJSON(w)
		}
		return rep.WriteText(w)
	}); err != nil {
		return fmt.Errorf("the report could not be written: %w", err)
	}
	if s := statusOf(rep); s != exitGood {
		return exit(s)
	}
	return nil
}

// conclude writes what a run came to. Of a run that was interrupted there is the document so far, which says what
// it left behind, if anything; stopped says so on the terminal.
func (o *output) conclude(ctx context.Context, rep *checks.Report, err error, stopped string, stdout, stderr io.Writer) error {
	switch {
	case err == nil:
		return o.writeReport(rep, stdout)
	case ctx.Err() == nil:
		return err
	case rep != nil:
		status(stderr, o.writeReport(rep, stdout))
	}
	return errors.New(stopped)
}

// hasFact reports whether a check has recorded a fact.
func hasFact(rep *checks.Report, key string) bool {
	return rep != nil && slices.ContainsFunc(rep.Checks, func(r checks.Result) bool {
		return r.Fact(key).Key != ""
	})
}

// statusOf returns the exit status that a report stands for. Once the box may ship or a disk be erased, a check
// that could not judge proves nothing, and a script that goes by the status must not act on it.
func statusOf(rep *checks.Report) int {
	if rep.Interrupted {
		return exitError
	}
	if rep.Verdict == checks.Failed {
		return exitFail
	}
	if rep.Stage != checks.Before && slices.ContainsFunc(rep.Checks, func(r checks.Result) bool { return r.Status == checks.Unknown }) {
		return exitError
	}
	return exitGood
}

// write writes to stdout, or to the chosen file: whole or not at all, and never over another.
func (o *output) write(stdout io.Writer, write func(io.Writer) error) error {
	if o.file == "" {
		return write(stdout)
	}
	return guarded(o.file, reportPatience, func() error {
		err := checks.WriteNew(o.file, write)
		if errors.Is(err, fs.ErrExist) {
			err = fmt.Errorf("%s exists; choose another file, or remove that one", names.Quote(o.file))
		}
		return err
	})
}

// progressLine shows progress on one line of a terminal, and nothing anywhere else.
func progressLine(stderr io.Writer) (watch func(checks.Event), done func()) {
	f, ok := stderr.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return nil, func() {}
	}
	width := 0
	watch = func(e checks.Event) {
		if e.Phase == "" || e.Check != nil {
			return
		}
		line := e.Phase
		if e.Done >= 0 {
			line += fmt.Sprintf(" %3.0f %%", e.Done*100)
		}
		if e.Entries > 0 {
			line += fmt.Sprintf(", %s, %s", checks.Plural(e.Entries, "entry"), checks.Bytes(e.Bytes))
			if s := e.Elapsed.Seconds(); s > 0 {
				line += fmt.Sprintf(", %s/s", checks.Count(int64(float64(e.Entries)/s)))
			}
		}
		if s := e.Elapsed.Seconds(); e.Entries == 0 && e.Bytes > 0 && s > 0 {
			line += fmt.Sprintf(", %s, %s/s", checks.Bytes(e.Bytes), checks.Bytes(int64(float64(e.Bytes)/s)))
		}
		if e.Left >= 0 {
			line += ", " + checks.Span(e.Left) + " left"
		}
		if columns, _, err := term.GetSize(int(f.Fd())); err == nil && len(line) >= columns && columns > 1 {
			line = line[:columns-1]
		}
		fmt.Fprintf(f, "\r%-*s", width, line)
		width = len(line)
	}
	return watch, func() { fmt.Fprintf(f, "\r%s\r", strings.Repeat(" ", width)) }
}

// stateDir is where is remembered what was proven.
func stateDir() string { return filepath.Join(xdg.StateHome, "loadline") }
