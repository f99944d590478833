package gui

import (
	"errors"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// What is chosen by a system's own dialog, as its program prints it.
func TestSystemDialogAnswers(t *testing.T) {
	failed := errors.New("exit status 1")
	for _, tc := range []struct {
		name, out, complaint string
		err                  error
		want                 string
		none                 bool
	}{
		{name: "a folder of macOS", out: "/Volumes/REEL 02/day 01/\n", want: "/Volumes/REEL 02/day 01"},
		{name: "the root", out: "/\n", want: "/"},
		{name: "a file", out: "/Users/me/list.csv\n", want: "/Users/me/list.csv"},
		{name: "a line break at the end of a name", out: "/Volumes/odd\n/\n", want: "/Volumes/odd\n"},
		{name: "a folder of Windows", out: `E:\Reel 02`, want: `E:\Reel 02`},
		{name: "the root of a drive", out: `E:\`, want: `E:\`},
		{name: "behind a mark", out: "\ufeffE:\\é", want: `E:\é`},
		{name: "called off on Windows"},
		// AppleScript Language Guide, "Error Numbers and Error Messages".
		{name: "called off on macOS", complaint: "0:41: execution error: User canceled. (-128)\n", err: failed},
		{name: "no dialog", complaint: "execution error: No user interaction allowed. (-1713)\n", err: failed, none: true},
		{name: "no program", err: exec.ErrNotFound, none: true},
	} {
		got, err := systemDialog{}.answer([]byte(tc.out), []byte(tc.complaint), tc.err)
		if got != tc.want || (err != nil) != tc.none {
			t.Errorf("%s: %q, %v", tc.name, got, err)
		}
	}
}

// Neither a title nor a place can be taken for code, whatever is in it.
func TestSystemDialogIsNoCode(t *testing.T) {
	const title, start = `"; do shell script "false`, `/Volumes/'$(x)"`
	for _, folder := range []bool{false, true} {
		mac, ok := dialogOf("darwin", title, start, folder)
		if !ok || !slices.Equal(mac.args[len(mac.args)-2:], []string{title, start}) || strings.Contains(strings.Join(mac.args[:len(mac.args)-2], " "), "shell") {
			t.Errorf("macOS: %q", mac.args)
		}
		bare, _ := dialogOf("darwin", title, "", folder)
		if strings.Contains(strings.Join(bare.args, " "), "item 2") {
			t.Errorf("macOS without a place: %q", bare.args)
		}
		win, ok := dialogOf("windows", title, start, folder)
		if !ok || strings.Contains(strings.Join(win.args, " "), "$(x)") || !slices.Contains(win.env, "LOADLINE_START="+start) {
			t.Errorf("Windows: %q %q", win.args, win.env)
		}
	}
	if _, ok := dialogOf("linux", title, start, true); ok {
		t.Error("on Linux the desktop is asked by the portal")
	}
}
