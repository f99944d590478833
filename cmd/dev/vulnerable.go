package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

const fyne = "fyne.io/fyne/v2"

// Why a vulnerability of Go itself is accepted. A release is to be built with the Go that cures it, as soon
// as that can be had.
const (
	rootWindows = "os.Root follows junctions that somebody else makes, on Windows, while Loadline works there; cured in Go 1.26.9"
	noNet       = "the toolkit can fetch pictures from the net, which Loadline never asks for: it opens no connection of this kind; cured in Go 1.26.10 at the latest"
)

// accepted are vulnerabilities that are called and cannot be cured here, with the reason. One that is not
// found any more is said, so that it can be taken out.
var accepted = map[string]string{
	"GO-2026-6604": rootWindows,
	"GO-2026-6603": noNet, "GO-2026-6605": noNet, "GO-2026-6607": noNet, "GO-2026-6608": noNet, "GO-2026-6610": noNet,
	"GO-2026-6611": noNet, "GO-2026-6612": noNet, "GO-2026-6613": noNet, "GO-2026-6617": noNet, "GO-2026-6809": noNet,
}

// vulnerable asks for each program and system whether it calls what is known to be vulnerable. The
// database is the one of golang.org/x/vulndb at the version that .ci/tools pins, brought by the module
// proxy like any module, so that the answer is the same wherever it is asked for.
func vulnerable(ctx context.Context) error {
	const module = "golang.org/x/vulndb"
	// The tools' modules are found from their own folder: with -modfile, download would take go.sum for ours.
	if err := run(ctx, "go", "-C", filepath.Dir(toolsMod), "mod", "download", module); err != nil {
		return fmt.Errorf("the database of vulnerabilities cannot be had, so nothing was checked: %w", err)
	}
	dir, err := output(ctx, "go", "-C", filepath.Dir(toolsMod), "list", "-m", "-f", "{{.Dir}} {{.Version}}", module)
	if err != nil {
		return err
	}
	dir, version, _ := strings.Cut(dir, " ")
	database, err := os.MkdirTemp("", "loadline-vulnerable-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(database)
	if err := run(ctx, "go", houseTool("indexdb", "-vulns", filepath.Join(dir, "data", "osv"), "-out", database)...); err != nil {
		return err
	}
	fmt.Println("Database:", module, version)
	found := map[string]string{}
	for _, one := range []struct{ system, cgo, tags, pkg string }{
		{"linux", "1", windowTags, "./cmd/loadline"},
		{"linux", "0", "", "./cmd/loadline-cli"},
		{"darwin", "0", "", "./cmd/loadline-cli"},
		{"windows", "0", "", "./cmd/loadline-cli"},
	} {
		tool, err := output(ctx, "go", houseTool("-n", "govulncheck")...)
		if err != nil {
			return err
		}
		args := []string{"-format", "json", "-db", "file://" + database, "-tags", one.tags, one.pkg}
		fmt.Println("+ GOOS="+one.system, line(tool, args))
		cmd := exec.CommandContext(ctx, tool, args...)
		cmd.Env = append(os.Environ(), "GOOS="+one.system, "CGO_ENABLED="+one.cgo)
		cmd.Stderr = os.Stderr
		out, err := cmd.Output()
		if err != nil {
			return failed(err, tool, args)
		}
		called, err := calledVulnerabilities(bytes.NewReader(out))
		if err != nil {
			return err
		}
		for id, what := range called {
			found[id] = what
			fmt.Printf("%s for %s: %s, %s\n", one.pkg, one.system, id, what)
		}
	}
	return judgeVulnerabilities(os.Stdout, found, accepted)
}

// calledVulnerabilities reads what govulncheck prints as JSON: a stream of messages, of which those
// with a finding whose first frame names a function tell of something that is called
// (golang.org/x/vuln, internal/govulncheck, Finding).
func calledVulnerabilities(r io.Reader) (map[string]string, error) {
	found, messages := map[string]string{}, 0
	for d := json.NewDecoder(r); ; {
		var m struct {
			Finding *struct {
				OSV   string `json:"osv"`
				Fixed string `json:"fixed_version"`
				Trace []struct{ Module, Version, Function string }
			}
		}
		if err := d.Decode(&m); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, err
		}
		messages++
		if f := m.Finding; f != nil && len(f.Trace) > 0 && f.Trace[0].Function != "" {
			found[f.OSV] = fmt.Sprintf("in %s %s, cured in %s", f.Trace[0].Module, f.Trace[0].Version, f.Fixed)
		}
	}
	if messages == 0 {
		return nil, errors.New("govulncheck said nothing")
	}
	return found, nil
}

// judgeVulnerabilities tells what is accepted, and why, and returns what is not.
func judgeVulnerabilities(out io.Writer, found, accepted map[string]string) error {
	var errs []error
	for _, id := range slices.Sorted(maps.Keys(found)) {
		if why := accepted[id]; why != "" {
			fmt.Fprintf(out, "Known: %s: %s.\n", id, why)
			continue
		}
		errs = append(errs, fmt.Errorf("%s is called: %s", id, found[id]))
	}
	for _, id := range slices.Sorted(maps.Keys(accepted)) {
		if _, ok := found[id]; !ok {
			fmt.Fprintf(out, "%s is not found any more: take it out of the table.\n", id)
		}
	}
	return errors.Join(errs...)
}
