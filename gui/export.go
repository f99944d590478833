package gui

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"

	"loadline/checks"
	"loadline/checks/names"
)

// writeList writes findings of a report as a list that people read: one path per line, and what is wrong with
// it.
func writeList(w io.Writer, rep *checks.Report, n int, at func(int) *checks.Finding) error {
	b := bufio.NewWriterSize(w, 1<<16)
	for i := range n {
		f := at(i)
		if _, err := fmt.Fprintf(b, "%s\t%s\t%s\t%s\n", levelWord(f.Level), onDisk(rep, f.Source, f.Path), f.Rule.ID, oneLine(f.Detail)); err != nil {
			return err
		}
	}
	return b.Flush()
}

// writeCSV writes findings as RFC 4180 says, with a head. A cell that a spreadsheet would take for a
// formula gets an apostrophe before it, and names stand as names.Quote shows them. A column for the disk is
// there only where there are several.
func writeCSV(w io.Writer, rep *checks.Report, n int, at func(int) *checks.Finding) error {
	c := csv.NewWriter(w)
	c.UseCRLF = true
	several := rep != nil && len(rep.Sources) > 1
	row := func(level, disk string, rest ...string) error {
		if !several {
			return c.Write(append([]string{level}, rest...))
		}
		return c.Write(append([]string{level, disk}, rest...))
	}
	if err := row("level", "disk", "path", "rule", "bytes", "detail", "what to do"); err != nil {
		return err
	}
	for i := range n {
		f := at(i)
		if err := row(f.Level.String(), strconv.Itoa(f.Source+1), harmless(names.Quote(f.Path)), f.Rule.ID,
			strconv.FormatInt(f.Size, 10), harmless(oneLine(f.Detail)), harmless(oneLine(f.Fix()))); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

// harmless keeps a spreadsheet from running a cell: those that begin with one of these characters
// are read as formulas (common practice, no source).
func harmless(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r\n|%＝＋－＠", []rune(s)[0]) {
		return "'" + s
	}
	return s
}

// oneLine makes sure that a detail stays on its line.
func oneLine(s string) string {
	if strings.ContainsAny(s, "\n\r\t\v\f\u0085\u2028\u2029") {
		return names.Quote(s)
	}
	return s
}

// isCSV decides by its name which form a list is saved in.
func isCSV(path string) bool { return strings.EqualFold(filepath.Ext(path), ".csv") }
