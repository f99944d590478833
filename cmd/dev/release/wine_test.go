//go:build release && linux

package release

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"loadline/cmd/dev/e2e"
)

// Wine runs what is built for Windows on the calls of Linux. It is believed where a program computes: names,
// paths, reports, lists, statuses. It is not believed, and so not asked, where Windows itself decides:
//
//   - what a file system of Windows does with a name: Wine folds case on its own and lets through what
//     NTFS refuses
//   - removing and renaming below a folder that is held open (os.Root): Wine 8 answers "Invalid
//     function", so the trial on the share and applying a plan fail under it in what is handed on; they are
//     tried with a command that is built with a way round (wineOverlay)
//   - reads past the cache, flushing, free space, kinds of disks: all Linux's answers
//   - links, owners, permissions, access lists, attributes
//   - several who append to one file at once: not one step there
//   - network shares and mount.exe: there is no NFS client in it
//   - long paths: Wine has no limit of 260 characters that the manifest could lift
//
// These parts of Windows have tests that run on the Windows runner of .github/workflows only.
func TestWine(t *testing.T) {
	prefix := filepath.Join(t.TempDir(), "prefix")
	for _, v := range []string{"WINEPREFIX=" + prefix, "WINEDLLOVERRIDES=mscoree,mshtml=", "WINEDEBUG=-all"} {
		name, value, _ := strings.Cut(v, "=")
		t.Setenv(name, value)
	}
	t.Cleanup(func() { // before the folder is removed
		_, _ = try(t, nil, "wineserver", "--kill") // its status says whether there was one
		must(t, "wineserver", "--wait")
	})
	must(t, "wine", "wineboot", "--init")
	must(t, "wineserver", "--wait")
	if library := filepath.Join(prefix, "drive_c/windows/system32/bcryptprimitives.dll"); !exists(library) {
		must(t, "x86_64-w64-mingw32-gcc", "-shared", "-O2", "-s", "-o", library, "testdata/bcryptprimitives.c", "-ladvapi32")
	}
	dir := t.TempDir()
	must(t, "unzip", "-q", pkg(t, winZip), "-d", dir)
	dir = filepath.Join(dir, strings.TrimSuffix(filepath.Base(pkg(t, winZip)), ".zip"))
	native := t.TempDir()
	must(t, "dpkg-deb", "-x", pkg(t, deb), native)
	native = filepath.Join(native, "usr/bin/loadline-cli")

	t.Run("command", func(t *testing.T) { wineCommand(t, filepath.Join(dir, "loadline-cli.exe"), native) })
	overlay := wineOverlay(t)
	t.Run("tests", func(t *testing.T) { wineTests(t, overlay) })
	t.Run("changes", func(t *testing.T) { wineChanges(t, prefix, overlay) })
	t.Run("window", func(t *testing.T) {
		d := e2e.NewDisplay(t, 1280, 800)
		w := d.Open("wine", filepath.Join(dir, "loadline.exe"), "-demo")
		demo(t, w, "wine")
	})
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// wineCommand compares the command under Wine with the same command on Linux, over one tree whose names both
// systems can hold.
func wineCommand(t *testing.T, exe, native string) {
	wine := func(args ...string) (string, int) { return stdout(t, nil, "wine", append([]string{exe}, args...)...) }
	out, status := wine("version")
	if status != 0 || !strings.Contains(out, " for windows/amd64\n") || !strings.Contains(out, `\handbook.html`) {
		t.Errorf("status %d, it says %s", status, out)
	}
	tree := t.TempDir()
	long := strings.Repeat("a long folder name of the wheel at high water/", 8)
	for _, name := range []string{
		"plain.mov", " first.srt", "-rushes.mov", "take 1.mov.part", ".DS_Store", "Thumbs.db", "mare\u0301e.jpg",
		"x/" + strings.Repeat("n", 200) + ".mov", strings.Repeat("deep/", 24) + "f.mov", long + strings.Repeat("frame ", 100)[:180] + ".png",
		"cafe\u0301 \u00e8.mp4", "b[1] 'x' #2.wav",
	} {
		path := filepath.Join(tree, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(name), 0o644); err != nil {
			t.Fatal(err)
		}
		if old := time.Now().AddDate(0, 0, -7); os.Chtimes(path, old, old) != nil { // or it is looked at twice, with time between
			t.Fatal("a file could not be dated")
		}
	}
	dos := "Z:" + strings.ReplaceAll(tree, "/", `\`)
	before := []string{"before", "-json", "-key-bytes", "300", "-prefix", "p"}
	here, status1 := stdout(t, nil, native, append(before, tree)...)
	there, status2 := wine(append(before, dos)...)
	if status1 != status2 || status1 == 2 {
		t.Errorf("status %d on Linux, %d under Wine", status1, status2)
	}
	one, two := findings(t, here), findings(t, there)
	if len(one) < 10 {
		t.Fatalf("the tree has only %d findings, the comparison would say little", len(one))
	}
	if d := cmp.Diff(one, two); d != "" {
		t.Errorf("findings on Linux (-) and under Wine (+):\n%s", d)
	}
	report := filepath.Join(t.TempDir(), "report.txt")
	if _, status := wine("before", "-key-bytes", "300", "-o", "Z:"+strings.ReplaceAll(report, "/", `\`), dos); status != status1 {
		t.Errorf("status %d with -o, want %d", status, status1)
	}
	if b, err := os.ReadFile(report); err != nil || !strings.HasPrefix(string(b), "LOADLINE: BEFORE COPYING\n") {
		t.Errorf("the report: %v, %.60q", err, b)
	}
	for _, args := range [][]string{
		{"before", "-o", "Z:" + strings.ReplaceAll(report, "/", `\`), dos}, // it is there
		{"before", dos + `\missing`}, {"before"}, {"nosuch"}, {"arrival", dos + `\plain.mov`, dos + `\plain.mov`},
	} {
		if _, status := wine(args...); status != 2 {
			t.Errorf("%q ended with status %d, want 2", args, status)
		}
	}
}

// findings are those of the checks that compute, as "check rule path".
func findings(t *testing.T, report string) []string {
	t.Helper()
	var r struct {
		Checks []struct {
			ID       string
			Findings []struct{ Path, Rule string }
		}
	}
	if err := json.Unmarshal([]byte(report), &r); err != nil {
		t.Fatalf("%v in %.300q", err, report)
	}
	var all []string
	for _, c := range r.Checks {
		if !slices.Contains([]string{"name-length", "name-characters", "name-twins", "path-depth", "clutter"}, c.ID) {
			continue
		}
		for _, f := range c.Findings {
			all = append(all, c.ID+" "+f.Rule+" "+f.Path)
		}
	}
	slices.Sort(all)
	return all
}

// A winePackage is one whose tests run under Wine: those whose names match run, without those that match skip, and why.
type winePackage struct{ path, run, skip, why string }

var winePackages = []winePackage{
	{path: "./assets/..."},
	{path: "./checks"},
	{path: "./checks/arrival", skip: "^(TestObjectsInParts|TestRandomParts|TestDiskThatIsNotTheSame|TestPartsAreRemembered|TestPartsThatCannotBeRemembered|TestEveryRuleHasACase|TestShapesAgree)$", why: "they ask python3, which is not in Wine"},
	{path: "./checks/arrival/listing", skip: "^(TestSet|TestShapes|TestZstd|TestCut)$", why: "they ask python3; TestSet wants the words of this system for a file that is not there"},
	{path: "./checks/arrival/parts", skip: "^TestHasherAgainstPython$", why: "it asks python3"},
	{path: "./checks/before"},
	{path: "./checks/demo", skip: "^TestSweep$", why: "it makes a link, which Wine 8 shows as the folder it leads to"},
	{path: "./checks/digest", skip: "^(TestMemoryOfMany|TestCompactManyRuns|TestTwoAtOnce)$", why: "Wine 8 does not append as one step where several have the file open, as Windows does for FILE_APPEND_DATA"},
	{path: "./checks/internal/disk", skip: "^TestWriteNew$", why: "it makes links"},
	{path: "./checks/internal/sums"},
	{path: "./checks/manifest", skip: "^(TestSumLinesOfCoreutils|TestManifestComesBack|TestManifestForCoreutils)$", why: "they make names that no disk of Windows takes, and run sha256sum"},
	{path: "./checks/media"},
	{path: "./checks/names"},
	{path: "./checks/recheck"},
	{path: "./checks/schema"},
	{path: "./checks/split"},
	{path: "./checks/walk", skip: "^(TestWalk|TestRoot|TestCloserLook)$", why: "they make links, and names of dots"},
	{
		path: "./cmd/loadline-cli", run: "^(TestStatus|TestScripts)$/^(after_usage|arrival_(bad|good|pages|proof)|fix_(limits|usage)|selftest|version)$",
		why: "the other scripts run sh, ls or mount, make links or names that no disk of Windows takes, or want paths with slashes",
	},
}

// wineTests runs the tests of packages, built for Windows. Those of the others are mostly such that make names that no
// disk of Windows takes (fix), run cp or pax (after), or ask for mounts (share).
func wineTests(t *testing.T, overlay string) {
	for _, p := range winePackages {
		args := []string{"-C", "../../..", "test", "-count=1", "-vet=off", "-overlay", overlay, "-exec", "wine"}
		for _, choice := range [][2]string{{"-run", p.run}, {"-skip", p.skip}} {
			if choice[1] != "" {
				t.Logf("%s %s %s: %s", p.path, choice[0], choice[1], p.why)
				args = append(args, choice[:]...)
			}
		}
		out, err := try(t, []string{"GOOS=windows", "GOARCH=amd64", "CGO_ENABLED=0"}, "go", append(args, p.path)...)
		if err != nil {
			t.Errorf("%s: %v\n%s", p.path, err, out)
		}
	}
}

// wineOverlay makes a file for the flag -overlay of the go command. Wine 8 has no FileDispositionInformationEx and says
// so by a status (STATUS_NOT_IMPLEMENTED) that package os does not take for that, so that nothing below a folder held
// open could be removed, and no test could clean up. Windows has it since version 1607. What is built with the overlay
// has a case more in package os, by which it then removes in the older way.
func wineOverlay(t *testing.T) string {
	t.Helper()
	goroot := strings.TrimSpace(must(t, "go", "env", "GOROOT"))
	source := filepath.Join(goroot, "src", "internal", "syscall", "windows", "at_windows.go")
	text, err := os.ReadFile(source)
	if err != nil {
		t.Fatal(err)
	}
	const status, more = "case STATUS_INVALID_INFO_CLASS,", "case NTStatus(0xC0000002), STATUS_INVALID_INFO_CLASS,"
	if n := strings.Count(string(text), status); n != 1 {
		t.Fatalf("%s has %d lines with %q", source, n, status)
	}
	dir := t.TempDir()
	changed, overlay := filepath.Join(dir, "at_windows.go"), filepath.Join(dir, "overlay.json")
	list, err := json.Marshal(map[string]map[string]string{"Replace": {source: changed}})
	if err == nil {
		err = errors.Join(os.WriteFile(changed, []byte(strings.Replace(string(text), status, more, 1)), 0o600), os.WriteFile(overlay, list, 0o600))
	}
	if err != nil {
		t.Fatal(err)
	}
	return overlay
}

// wineChanges lets a command that is built with the overlay change a disk and write on a share: a plan is applied and
// undone, a copy is proven, and what was read is known again. A second drive stands in for the share.
func wineChanges(t *testing.T, prefix, overlay string) {
	exe, drive := filepath.Join(t.TempDir(), "loadline-cli.exe"), t.TempDir()
	if out, err := try(t, []string{"GOOS=windows", "GOARCH=amd64", "CGO_ENABLED=0"}, "go", "-C", "../../..", "build", "-overlay", overlay, "-o", exe, "./cmd/loadline-cli"); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	letter := filepath.Join(prefix, "dosdevices", "x:")
	if err := os.Symlink(drive, letter); err != nil {
		t.Fatal(err)
	}
	defer os.Remove(letter)
	disk := filepath.Join(prefix, "drive_c", "disk")
	defer os.RemoveAll(disk)
	for _, name := range []string{"day one/A001.mov", "day one/ lead.srt", "-dash.wav", "mare\u0301e.txt"} {
		path := filepath.Join(disk, filepath.FromSlash(name))
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), os.WriteFile(path, []byte(name), 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	files := func() string {
		return must(t, "sh", "-c", `cd "$1" && find . -type f ! -name '.loadline-*' | LC_ALL=C sort`, "sh", disk)
	}
	run := func(want int, says string, args ...string) string {
		t.Helper()
		out, status := stdout(t, nil, "wine", append([]string{exe}, args...)...)
		if status != want || !strings.Contains(out, says) {
			t.Fatalf("%q ended with status %d, want %d and %q in\n%s", args, status, want, says, out)
		}
		return out
	}
	const old, renamed = "./-dash.wav\n./day one/ lead.srt\n./day one/A001.mov\n./mare\u0301e.txt\n", "./_dash.wav\n./day one/A001.mov\n./day one/lead.srt\n./mar\u00e9e.txt\n"
	_, journal, found := strings.Cut(run(0, "Done: 3 renames", "fix", "-apply", `C:\disk`), "fix -undo ")
	if now := files(); !found || now != renamed {
		t.Errorf("renamed, there is\n%s", now)
	}
	run(0, "Undone: 3 renames", "fix", "-undo", strings.TrimSpace(journal))
	if now := files(); now != old {
		t.Errorf("undone, there is\n%s", now)
	}
	report := run(0, `"id":"share-writes","title":"The share takes writes and gives them back","status":"pass"`, "before", "-json", "-read", "-prefix", "copy", `C:\disk`, `X:\`)
	if !strings.Contains(report, `"files_read":4,"remembered":0`) {
		t.Errorf("not all was read:\n%s", report)
	}
	run(0, `"remembered":4`, "before", "-json", `C:\disk`)
	must(t, "cp", "-R", disk, filepath.Join(drive, "copy"))
	report = run(0, `"proven_files":4,"read_before":4,`, "after", "-json", "-prefix", "copy", "-manifest", `C:\disk.sha256`, `C:\disk`, `X:\`)
	if !strings.Contains(report, `"manifest_on_share"`) || strings.Contains(report, `"rule":"extra-on-share"`) {
		t.Errorf("no manifest on the share, or something else is there:\n%s", report)
	}
	run(0, "The copy is whole", "recheck", `C:\disk.sha256`, `X:\copy`)
	must(t, "sh", "-c", `cd "$1" && sha256sum -c --strict "$2"`, "sh", filepath.Join(drive, "copy"), filepath.Join(prefix, "drive_c", "disk.sha256"))
}
