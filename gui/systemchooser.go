package gui

import (
	"bytes"
	"context"
	"errors"
	"os"
	"os/exec"
	"runtime"
	"strings"
)

// A systemDialog is a program of the system that shows its own dialog for a folder or a file and prints the path
// that was chosen.
type systemDialog struct {
	name string
	args []string
	env  []string
}

// dialogOf returns the dialog of a system, as runtime.GOOS names it; false where the desktop is asked another way.
// Title and start reach the programs as arguments or variables, so that nothing in them can be taken for code.
func dialogOf(system, title, start string, folder bool) (systemDialog, bool) {
	switch system {
	case "darwin":
		// AppleScript Language Guide, "choose folder", "choose file", "POSIX file"; osascript(1).
		what, at, args := "choose file", "", []string{title}
		if folder {
			what = "choose folder"
		}
		if start != "" {
			at, args = " default location (POSIX file (item 2 of argv))", append(args, start)
		}
		script := []string{"-e", "on run argv", "-e", "POSIX path of (" + what + " with prompt (item 1 of argv)" + at + ")", "-e", "end run"}
		return systemDialog{name: "/usr/bin/osascript", args: append(script, args...)}, true
	case "windows":
		// System.Windows.Forms: FolderBrowserDialog, OpenFileDialog; they need a thread of the kind STA.
		show := "$d = New-Object System.Windows.Forms.OpenFileDialog; $d.Title = $env:LOADLINE_TITLE; $d.InitialDirectory = $env:LOADLINE_START; $p = 'FileName'"
		if folder {
			show = "$d = New-Object System.Windows.Forms.FolderBrowserDialog; $d.Description = $env:LOADLINE_TITLE; $d.SelectedPath = $env:LOADLINE_START; $p = 'SelectedPath'"
		}
		return systemDialog{
			name: "powershell.exe",
			args: []string{
				"-NoProfile", "-STA", "-Command",
				"$ErrorActionPreference = 'Stop'; Add-Type -AssemblyName System.Windows.Forms; " + show +
					"; [Console]::OutputEncoding = [Text.Encoding]::UTF8; if ($d.ShowDialog() -eq 'OK') { [Console]::Out.Write($d.$p) }",
			},
			env: []string{"LOADLINE_TITLE=" + title, "LOADLINE_START=" + start},
		}, true
	}
	return systemDialog{}, false
}

// userCanceled is the number by which AppleScript says so (AppleScript Language Guide, "Error Numbers and Error
// Messages").
const userCanceled = "(-128)"

// answer reads what a dialog printed: the path, "" if the person called it off. An error says that there was no
// dialog.
func (d systemDialog) answer(out, complaint []byte, err error) (string, error) {
	if err != nil {
		if bytes.Contains(complaint, []byte(userCanceled)) {
			return "", nil
		}
		return "", errors.Join(err, errors.New(strings.TrimSpace(string(complaint))))
	}
	path := strings.TrimPrefix(string(out), "\ufeff")
	path = strings.TrimSuffix(path, "\n")
	if rest, ok := strings.CutSuffix(path, "/"); ok && rest != "" { // a folder of macOS
		path = rest
	}
	return path, nil
}

// askSystem shows the system's own dialog; false where it has none that could be shown.
func askSystem(title, start string, folder bool) (path string, ok bool) {
	d, ok := dialogOf(runtime.GOOS, title, start, folder)
	if !ok {
		return "", false
	}
	cmd := exec.CommandContext(context.Background(), d.name, d.args...)
	cmd.Env = append(os.Environ(), d.env...)
	withoutConsole(cmd)
	var out, complaint bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &complaint
	err := cmd.Run()
	path, err = d.answer(out.Bytes(), complaint.Bytes(), err)
	return path, err == nil
}
