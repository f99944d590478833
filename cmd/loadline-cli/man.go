package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"loadline/checks"
)

// runManual prints the manual page, in the macros of man(7).
func runManual(_ context.Context, args []string, stdout, stderr io.Writer) error {
	fs := newFlags("man", "", stderr)
	if _, err := parseCount(fs, args, 0, 0); err != nil {
		return err
	}
	_, err := io.WriteString(stdout, manPage(describe()))
	return err
}

// roff keeps a text as it is: a line that begins with a dot or an apostrophe would be a request, a
// backslash an escape, and a hyphen would be set as a typographic one, which nobody can paste.
func roff(text string) string {
	text = strings.NewReplacer(`\`, `\e`, `-`, `\-`).Replace(text)
	lines := strings.Split(text, "\n")
	for i, l := range lines {
		if strings.HasPrefix(l, ".") || strings.HasPrefix(l, "'") {
			lines[i] = `\&` + l
		}
	}
	return strings.Join(lines, "\n")
}

func manPage(all []described) string {
	var s strings.Builder
	date := ""
	if b := checks.ThisBuild(); !b.Date.IsZero() {
		date = b.Date.UTC().Format(time.DateOnly)
	}
	fmt.Fprintf(&s, ".TH LOADLINE\\-CLI 1 \"%s\" \"Loadline %s\" \"User Commands\"\n", date, checks.Version)
	s.WriteString(".SH NAME\nloadline\\-cli \\- check a folder that travels on a transfer appliance\n.SH SYNOPSIS\n")
	for i, c := range all {
		if i > 0 {
			s.WriteString(".br\n")
		}
		fmt.Fprintf(&s, ".B loadline\\-cli %s\n", roff(c.name))
		if len(c.flags) > 0 {
			s.WriteString("[\\fIflags\\fR]\n")
		}
		if c.arguments != "" {
			s.WriteString(roff(c.arguments) + "\n")
		}
	}
	s.WriteString(`.SH DESCRIPTION
Loadline checks before copying whether everything on a disk will arrive as named and in time, after
copying whether every byte is on the share, and after arrival in the object store whether the disk may
be erased. It never copies, and it changes nothing unasked. A report goes to standard output, progress
to standard error where that is a terminal. Flags may stand before or after the arguments.
.SH COMMANDS
`)
	for _, c := range all {
		fmt.Fprintf(&s, ".SS %s\n%s\n", roff(strings.TrimSpace(c.name+" "+c.arguments)), roff(sentence(c.summary)))
		for _, o := range c.flags {
			fmt.Fprintf(&s, ".TP\n.B \\-%s", roff(o.name))
			if o.value != "" {
				fmt.Fprintf(&s, " \\fI%s\\fR", roff(o.value))
			}
			fmt.Fprintf(&s, "\n%s\n", roff(sentence(o.text)))
		}
		if c.more != "" {
			fmt.Fprintf(&s, ".PP\n.nf\n%s.fi\n", roff(c.more))
		}
	}
	s.WriteString(`.SH EXIT STATUS
.TP
.B 0
No check failed.
.TP
.B 1
A check failed,
.B fix
left something undone, or
.B split
left something out.
.TP
.B 2
The checks could not be run: a bad argument, no such folder, interrupted; after copying also where one
of the checks could not be run. A script must not ship on that.
.SH SEE ALSO
.BR loadline (1)
for the window.
`)
	return s.String()
}

// sentence gives a text a capital letter and an end; flags and summaries are ASCII at their start.
func sentence(text string) string {
	if text == "" {
		return ""
	}
	text = strings.ToUpper(text[:1]) + text[1:]
	if !strings.HasSuffix(text, "?") && !strings.HasSuffix(text, ".") {
		text += "."
	}
	return text
}
