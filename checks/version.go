package checks

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strings"
	"time"
)

// Version is the version of Loadline.
const Version = "0.1.0"

// A Build tells which build of Loadline a program is.
type Build struct {
	Version  string
	Commit   string    // whole hash; empty where the program was built outside a clone
	Date     time.Time // of the commit
	Modified bool      // built from files that are in no commit
	Go       string    // "go1.26.8"
	System   string    // "linux/amd64"
}

// ThisBuild returns the build that runs. The commit is the one that the go command stamps into what
// it builds in a clone.
func ThisBuild() Build {
	b := Build{Version: Version, Go: runtime.Version(), System: runtime.GOOS + "/" + runtime.GOARCH}
	if info, ok := debug.ReadBuildInfo(); ok {
		b.stamp(info.Settings)
	}
	return b
}

// Unproven says of a system, as runtime.GOOS names it, what was not tried on it yet; empty where everything was.
func Unproven(system string) string {
	const ask = "; please attach what “loadline-cli selftest” prints to anything that you report"
	switch system {
	case "linux":
		return ""
	case "darwin":
		return "Not yet proven on this system: Loadline has been built and vetted for macOS, but never run on a Mac" + ask + "."
	case "windows":
		return "Not yet proven on this system: Loadline has been tried under Wine, but never on Windows itself" + ask + "."
	}
	return "Not yet proven on this system: Loadline has never been tried on it" + ask + "."
}

// stamp takes over what the go command says of the version control; its keys are those of
// debug.BuildSetting.
func (b *Build) stamp(settings []debug.BuildSetting) {
	for _, s := range settings {
		switch s.Key {
		case "vcs.revision":
			b.Commit = s.Value
		case "vcs.time":
			b.Date, _ = time.Parse(time.RFC3339, s.Value) // without it there is no date
		case "vcs.modified":
			b.Modified = s.Value == "true"
		}
	}
}

// String is the build in lines for people, without a line break at the end.
func (b Build) String() string {
	var s strings.Builder
	fmt.Fprintf(&s, "Loadline %s\n", b.Version)
	switch {
	case b.Commit == "":
		s.WriteString("commit unknown: built outside a clone")
	default:
		s.WriteString("commit " + b.Commit)
		if !b.Date.IsZero() {
			s.WriteString(" of " + b.Date.UTC().Format("2 January 2006"))
		}
		if b.Modified {
			s.WriteString(", with changes that are in no commit")
		}
	}
	fmt.Fprintf(&s, "\n%s for %s", b.Go, b.System)
	system, _, _ := strings.Cut(b.System, "/")
	if no := Unproven(system); no != "" {
		s.WriteString("\n" + no)
	}
	return s.String()
}

// Handbook returns where the handbook lies that came with a program; empty if none did.
func Handbook(exe string) string {
	if exe == "" {
		return ""
	}
	if real, err := filepath.EvalSymlinks(exe); err == nil {
		exe = real
	}
	dir := filepath.Dir(exe)
	for _, place := range []string{
		filepath.Join(dir, "..", "share", "doc", "loadline"), // Linux
		filepath.Join(dir, "..", "Resources"),                // a bundle on a Mac
		dir,                                                  // unpacked anywhere
	} {
		file := filepath.Join(place, "handbook.html")
		if _, err := os.Stat(file); err == nil {
			return file
		}
	}
	return ""
}
