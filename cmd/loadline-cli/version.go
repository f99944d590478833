package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"

	"loadline/assets/licences"
	"loadline/checks"
)

// runVersion tells which build this is.
func runVersion(_ context.Context, args []string, stdout, stderr io.Writer) error {
	fs := newFlags("version", "", stderr)
	asJSON := fs.Bool("json", false, "print it as JSON")
	all := fs.Bool("licences", false, "print the licence of Loadline and those of everything that is built into it")
	rest, err := parse(fs, args)
	if err != nil {
		return err
	}
	if len(rest) > 0 || *asJSON && *all {
		return misused(fs)
	}
	b := checks.ThisBuild()
	switch {
	case *all:
		_, err = io.WriteString(stdout, licences.Text())
	case *asJSON:
		err = json.NewEncoder(stdout).Encode(struct {
			Tool     string `json:"tool"`
			Version  string `json:"version"`
			Commit   string `json:"commit,omitempty"`
			Modified bool   `json:"modified,omitempty"`
			Go       string `json:"go"`
			System   string `json:"system"`
		}{"loadline", b.Version, b.Commit, b.Modified, b.Go, b.System})
	default:
		exe, _ := os.Executable() // without it, the handbook is in the project
		_, err = fmt.Fprintf(stdout, "%s\nlicence: BSD 2-Clause; \"loadline-cli version -licences\" prints it and those of everything built in\nhandbook: %s\n",
			b, cmp.Or(checks.Handbook(exe), "checks/README.md, in the source of the project"))
	}
	return err
}
