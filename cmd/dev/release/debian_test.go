//go:build release && linux

package release

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"loadline/cmd/dev/e2e"
)

// A Debian that holds nothing but what must be there installs the package with all it needs, opens the
// window on the demo, runs it, and is without a trace of it after it was purged. The display is outside:
// an X server inside would bring libraries that the package must ask for itself.
func TestDebian(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Fatal("a Debian in a folder needs root: run the step debian as root")
	}
	site, suite := mirror(t)
	root := filepath.Join(t.TempDir(), "debian")
	t.Cleanup(func() { // before the folder is removed
		for _, m := range []string{"proc", "tmp"} {
			_, _ = try(t, nil, "umount", "--lazy", filepath.Join(root, m))
		}
	})
	must(t, "debootstrap", "--variant=minbase", suite, root, site)
	inside := func(args ...string) string {
		t.Helper()
		return must(t, "env", append([]string{"-i", "PATH=/usr/sbin:/usr/bin:/sbin:/bin", "DEBIAN_FRONTEND=noninteractive", "LC_ALL=C.UTF-8", "chroot", root}, args...)...)
	}
	must(t, "mount", "-t", "proc", "proc", filepath.Join(root, "proc"))
	// Nothing starts inside (invoke-rc.d, policy-rc.d).
	if err := os.WriteFile(filepath.Join(root, "usr/sbin/policy-rc.d"), []byte("#!/bin/sh\nexit 101\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(pkg(t, deb))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(root, "loadline.deb"), b, 0o644); err != nil {
		t.Fatal(err)
	}
	inside("apt-get", "update")
	inside("apt-get", "install", "-y", "--no-install-recommends", "/loadline.deb")
	if err := os.Remove(filepath.Join(root, "loadline.deb")); err != nil {
		t.Fatal(err)
	}
	files := strings.Fields(inside("dpkg", "-L", "loadline"))
	for _, want := range []string{"/usr/bin/loadline", "/usr/bin/loadline-cli", "/usr/share/applications/loadline.desktop"} {
		if !slices.Contains(files, want) {
			t.Errorf("dpkg -L does not list %s", want)
		}
	}
	if out := inside("dpkg", "-V", "loadline"); strings.TrimSpace(stripDocs(out)) != "" {
		t.Errorf("dpkg -V says %s", out)
	}
	if out := inside("loadline-cli", "version"); !strings.Contains(out, "/usr/share/doc/loadline/handbook.html") {
		t.Errorf("the command inside says %s", out)
	}

	// The folder for temporary files holds the socket of the display and the home of the window.
	must(t, "mount", "--bind", "/tmp", filepath.Join(root, "tmp"))
	d := e2e.NewDisplay(t, 1280, 800)
	if !strings.HasPrefix(d.Home(), "/tmp/") {
		t.Fatalf("the home %s of the window cannot be seen inside; unset TMPDIR", d.Home())
	}
	w := d.Open("chroot", root, "/usr/bin/loadline", "-demo")
	// By its class a desktop knows the window for that of the menu's entry (Desktop Entry Specification,
	// StartupWMClass).
	entry, err := os.ReadFile(filepath.Join(root, "usr/share/applications/loadline.desktop"))
	if err != nil {
		t.Fatal(err)
	}
	class := regexp.MustCompile(`(?m)^StartupWMClass=(.+)$`).FindSubmatch(entry)
	if class == nil || !w.HasClass(string(class[1])) {
		t.Errorf("the window is not of the class %q that its entry names", class)
	}
	demo(t, w, "debian")
	w.AskClose()
	w.Ended()
	must(t, "umount", filepath.Join(root, "tmp"))

	inside("apt-get", "purge", "-y", "loadline")
	for _, f := range files {
		if info, err := os.Lstat(filepath.Join(root, f)); err == nil && !info.IsDir() {
			t.Errorf("%s is left behind", f)
		}
	}
	if out := must(t, "find", root, "-xdev", "-iname", "*loadline*"); out != "" {
		t.Errorf("left behind: %s", out)
	}
}

// demo runs the demo in a window, and takes a picture.
func demo(t *testing.T, w *e2e.Window, name string) {
	t.Helper()
	s := w.Wait("the demo", func(s e2e.State) bool { return strings.Contains(s.Source, "loadline-demo-") && s.State == "idle" })
	w.Click("check")
	s = w.Wait("a verdict", func(s e2e.State) bool { return s.Verdict != "" && s.State != "running" })
	w.Settle()
	picture := w.Shot(name)
	t.Logf("verdict %s, picture %s", s.Verdict, picture)
	if s.Verdict != "fail" {
		t.Errorf("the verdict on the demo is %q, want fail: it has files to fix", s.Verdict)
	}
	if got := s.Checks["path-depth"]; got != "fail" {
		t.Errorf("path-depth is %q on the demo, want fail", got)
	}
	drawn(t, picture)
}

// drawn sees that a picture shows more than an empty window: a software renderer without its libraries
// leaves it in one colour.
func drawn(t *testing.T, picture string) {
	t.Helper()
	if n := len(strings.TrimSpace(must(t, "convert", picture, "-unique-colors", "-depth", "8", "txt:-"))); n < 2000 {
		t.Errorf("%s has hardly a colour in it", picture)
	}
}

// mirror is the archive of Debian that apt uses on this machine.
func mirror(t *testing.T) (site, suite string) {
	t.Helper()
	out := must(t, "apt-get", "indextargets", "--format", "$(SITE) $(CODENAME) $(COMPONENT) $(ORIGIN)", "Created-By: Packages")
	for l := range strings.Lines(out) {
		f := strings.Fields(l)
		if len(f) == 4 && f[2] == "main" && f[3] == "Debian" && !strings.Contains(f[1], "-") && !strings.Contains(f[0], "security") {
			return f[0], f[1]
		}
	}
	t.Fatalf("apt knows no archive of Debian here; run apt-get update first. It lists:\n%s", out)
	return "", ""
}

// stripDocs leaves out what a small Debian does not unpack on purpose (dpkg, path-exclude).
func stripDocs(verify string) string {
	var out bytes.Buffer
	for l := range strings.Lines(verify) {
		if !regexp.MustCompile(`^missing .*/usr/share/(doc|man|locale)/`).MatchString(l) {
			out.WriteString(l)
		}
	}
	return out.String()
}
