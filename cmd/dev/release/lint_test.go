//go:build release

package release

import (
	"debug/macho"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"loadline/checks"
)

// Every checker is a program of the system that the file is for, or of those who wrote its format.
func TestLint(t *testing.T) {
	root, rpmRoot := t.TempDir(), t.TempDir()
	must(t, "dpkg-deb", "-x", pkg(t, deb), root)
	must(t, "sh", "-c", `cd "$1" && rpm2archive -n - < "$2" | tar x`, "sh", rpmRoot, pkg(t, rpm))
	usr := func(name string) string { return filepath.Join(root, "usr", filepath.FromSlash(name)) }

	t.Run("checksums", func(t *testing.T) {
		must(t, "sh", "-c", `cd "$1" && sha256sum --strict --quiet -c SHA256SUMS`, "sh", filepath.Dir(pkg(t, deb)))
	})
	t.Run("lintian", func(t *testing.T) {
		out := must(t, "lintian", "--allow-root", "--tag-display-limit", "0", "--fail-on", "error,warning", pkg(t, deb))
		t.Log(out)
	})
	t.Run("rpm", func(t *testing.T) {
		if out := must(t, "rpm", "-K", pkg(t, rpm)); !strings.Contains(out, "digests OK") {
			t.Errorf("rpm -K says %q", out)
		}
		must(t, "diff", "-r", "-x", "copyright", "-x", "changelog.Debian.gz", "-x", "zsh", "-x", "lintian", filepath.Join(root, "usr"), filepath.Join(rpmRoot, "usr"))
	})
	t.Run("desktop entry", func(t *testing.T) {
		if out := must(t, "desktop-file-validate", usr("share/applications/loadline.desktop")); out != "" {
			t.Errorf("desktop-file-validate says %q", out)
		}
	})
	t.Run("AppStream", func(t *testing.T) {
		must(t, "appstreamcli", "validate-tree", "--no-net", root)
		must(t, "xmllint", "--noout", usr("share/metainfo/example.loadline.Loadline.metainfo.xml"))
	})
	t.Run("MIME type", func(t *testing.T) {
		must(t, "update-mime-database", usr("share/mime"))
		manifest := filepath.Join(t.TempDir(), "noname")
		if err := os.WriteFile(manifest, []byte("# Loadline manifest 1. To verify: sha256sum -c THIS-FILE, in the folder of the copy.\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := try(t, []string{"XDG_DATA_DIRS=" + usr("share") + ":/usr/share", "XDG_DATA_HOME=" + t.TempDir(), "HOME=" + t.TempDir()},
			"gio", "info", "-a", "standard::content-type", manifest)
		if err != nil || !strings.Contains(out, "text/x-loadline-manifest") {
			t.Errorf("gio says %v, %s", err, out)
		}
	})
	t.Run("manual", func(t *testing.T) {
		for _, name := range []string{"loadline", "loadline-cli"} {
			out := must(t, "sh", "-c", `zcat "$1" | mandoc -T lint -W warning`, "sh", usr("share/man/man1/"+name+".1.gz"))
			if out != "" {
				t.Errorf("mandoc says of %s: %s", name, out)
			}
		}
		for _, want := range []string{"before SOURCE [SHARE]", "-battery HOURS", "EXIT STATUS"} {
			if out := must(t, "sh", "-c", `zcat "$1" | mandoc -T ascii | col -b`, "sh", usr("share/man/man1/loadline-cli.1.gz")); !strings.Contains(out, want) {
				t.Errorf("the manual does not say %q", want)
			}
		}
	})
	t.Run("completion", func(t *testing.T) {
		must(t, "bash", "-n", usr("share/bash-completion/completions/loadline-cli"))
		must(t, "zsh", "-n", usr("share/zsh/vendor-completions/_loadline-cli"))
		fish := usr("share/fish/vendor_completions.d/loadline-cli.fish")
		must(t, "fish", "--no-execute", fish)
		for line, want := range map[string]string{"loadline-cli arr": "arrival", "loadline-cli before -bat": "-battery", "loadline-cli completion z": "zsh"} {
			out := must(t, "env", "HOME="+t.TempDir(), "fish", "--no-config", "-c", "source $argv[1]; complete -C $argv[2]", fish, line)
			if !strings.HasPrefix(out, want) {
				t.Errorf("fish completes %q to %q, want %s", line, out, want)
			}
		}
	})
	t.Run("program", func(t *testing.T) {
		for _, name := range []string{"loadline", "loadline-cli"} {
			args := []string{"-version"}
			if out := must(t, usr("bin/"+name), args...); !regexp.MustCompile(`^Loadline `+regexp.QuoteMeta(checks.Version)+`\ncommit [0-9a-f]{40} of .+\n`).MatchString(out) || strings.Contains(out, "in no commit") {
				t.Errorf("%s says of itself: %s", name, out)
			}
		}
		if out := must(t, usr("bin/loadline-cli"), "version"); !strings.Contains(out, usr("share/doc/loadline/handbook.html")) {
			t.Errorf("the command does not find its handbook: %s", out)
		}
	})
	t.Run("other archives", func(t *testing.T) {
		for name, want := range map[string]string{
			linuxTar: "bin/loadline-cli", armTar: "loadline-cli", macTarARM: "loadline-cli", macTarX86: "loadline-cli",
		} {
			dir := t.TempDir()
			must(t, "tar", "-C", dir, "-xzf", pkg(t, name))
			program := filepath.Join(dir, strings.TrimSuffix(filepath.Base(pkg(t, name)), ".tar.gz"), filepath.FromSlash(want))
			if info, err := os.Stat(program); err != nil || info.Mode()&0o111 == 0 {
				t.Errorf("%s: %v, %v", name, info, err)
			}
			if name == macTarARM || name == macTarX86 {
				f, err := macho.Open(program)
				if err != nil {
					t.Errorf("%s: %v", name, err)
					continue
				}
				f.Close()
			}
		}
		frame := filepath.Join(filepath.Dir(pkg(t, deb)), "macos-without-window", "Loadline.app", "Contents")
		must(t, "xmllint", "--noout", "--nonet", filepath.Join(frame, "Info.plist"))
		if out := must(t, "icns2png", "-l", filepath.Join(frame, "Resources", "loadline.icns")); !strings.Contains(out, "512x512") {
			t.Errorf("icns2png lists %s", out)
		}
	})
	t.Run("bills", func(t *testing.T) {
		bills, err := filepath.Glob(filepath.Join(folder, "*.cdx.json"))
		if err != nil || len(bills) != 6 {
			t.Fatalf("%d bills of materials, %v", len(bills), err)
		}
		for _, b := range bills {
			text, err := os.ReadFile(b)
			if err != nil {
				t.Fatal(err)
			}
			window := !strings.Contains(filepath.Base(b), "cli")
			if got := strings.Contains(string(text), `"name": "fyne.io/fyne/v2"`); got != window {
				t.Errorf("%s: Fyne is in it: %v", filepath.Base(b), got)
			}
		}
	})
}
