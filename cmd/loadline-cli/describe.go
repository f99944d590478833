package main

import (
	"bytes"
	"context"
	"flag"
	"io"
	"strings"
)

// A description is what a command says of itself: it takes the place of standard error, and parse
// then hands over the flags and ends the command before it does anything. So manual and completion
// tell what the commands really take.
type description struct {
	bytes.Buffer
	flags *flag.FlagSet
}

// A described command has all that the manual and the shells need.
type described struct {
	command
	arguments string // "SOURCE [SHARE]"
	flags     []option
	more      string // what its usage says below the flags
}

// An option is one flag.
type option struct {
	name, value, text string // value is empty for a switch
}

// paths are the words for a value that names a file or folder.
var paths = []string{"FILE", "FOLDER", "DIR", "JOURNAL", "PATH", "MANIFEST"}

// describe returns all commands with their flags.
func describe() []described {
	var all []described
	for _, c := range commands() {
		var d description
		c.run(context.Background(), nil, io.Discard, &d)
		one := described{command: c}
		d.Reset()
		d.flags.PrintDefaults()
		defaults := d.String()
		d.Reset()
		d.flags.Usage()
		usage, below, _ := strings.Cut(d.String(), "\n")
		one.arguments = strings.TrimSpace(strings.TrimPrefix(usage, "usage: loadline-cli "+c.name+" [flags]"))
		one.more = strings.TrimPrefix(below, defaults)
		d.flags.VisitAll(func(f *flag.Flag) {
			value, text := flag.UnquoteUsage(f)
			one.flags = append(one.flags, option{f.Name, value, text})
		})
		all = append(all, one)
	}
	return all
}
