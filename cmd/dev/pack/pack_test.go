package pack

import (
	"bytes"
	"context"
	"debug/elf"
	"encoding/binary"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"maps"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"loadline/checks/manifest"

	"github.com/google/go-cmp/cmp"
)

var when = time.Date(2026, 11, 25, 7, 8, 10, 0, time.UTC)

// fake is what made returns, without a program to ask.
func fake() *made {
	return &made{
		when: when, manCommand: []byte("man\n"), manWindow: []byte("man\n"), handbook: []byte("<html>\n"),
		licences: []byte("all\n"), licence: []byte("own\n"),
		completion: map[string][]byte{"bash": []byte("b\n"), "zsh": []byte("z\n"), "fish": []byte("f\n")},
	}
}

// Places are those of the Filesystem Hierarchy Standard 3.0, of the icon theme, desktop entry, shared
// MIME-info and AppStream specifications, and of what Debian's shells look at.
func TestLinuxTree(t *testing.T) {
	all, err := linuxTree(fake(), "window", "command")
	if err != nil {
		t.Fatal(err)
	}
	want := strings.Fields(`
		usr/bin/loadline
		usr/bin/loadline-cli
		usr/share/applications/loadline.desktop
		usr/share/bash-completion/completions/loadline-cli
		usr/share/doc/loadline/built-in.txt
		usr/share/doc/loadline/copyright
		usr/share/doc/loadline/handbook.html
		usr/share/fish/vendor_completions.d/loadline-cli.fish
		usr/share/icons/hicolor/128x128/apps/loadline.png
		usr/share/icons/hicolor/16x16/apps/loadline.png
		usr/share/icons/hicolor/22x22/apps/loadline.png
		usr/share/icons/hicolor/24x24/apps/loadline.png
		usr/share/icons/hicolor/256x256/apps/loadline.png
		usr/share/icons/hicolor/32x32/apps/loadline.png
		usr/share/icons/hicolor/48x48/apps/loadline.png
		usr/share/icons/hicolor/512x512/apps/loadline.png
		usr/share/icons/hicolor/64x64/apps/loadline.png
		usr/share/icons/hicolor/scalable/apps/loadline.svg
		usr/share/man/man1/loadline-cli.1.gz
		usr/share/man/man1/loadline.1.gz
		usr/share/metainfo/example.loadline.Loadline.metainfo.xml
		usr/share/mime/packages/loadline.xml
		usr/share/zsh/vendor-completions/_loadline-cli`)
	if d := cmp.Diff(want, all.names()); d != "" {
		t.Error(d)
	}
	for _, f := range all {
		if program := strings.HasPrefix(f.path, "usr/bin/"); program != (f.mode == 0o755) || !program && f.mode != 0o644 {
			t.Errorf("%s has mode %o", f.path, f.mode)
		}
		if f.from == "" && len(f.content) == 0 {
			t.Errorf("%s is empty", f.path)
		}
	}
	loose, err := looseTree(all, fake())
	if err != nil {
		t.Fatal(err)
	}
	want = append(want, "usr/LICENSE", "usr/README.txt")
	slices.Sort(want)
	if d := cmp.Diff(want, loose.below("usr").names()); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(strings.Fields("LICENCES.txt LICENSE completion/bash completion/fish completion/zsh handbook.html loadline-cli loadline-cli.1"),
		commandTree(fake(), "command").names()); d != "" {
		t.Error(d)
	}
}

// Keys that the Desktop Entry Specification 1.5 requires of an application, and that lead to files of the
// package.
func TestDesktopEntry(t *testing.T) {
	lines := strings.Split(strings.TrimSpace(string(desktopEntry())), "\n")
	if lines[0] != "[Desktop Entry]" {
		t.Fatalf("begins with %q", lines[0])
	}
	keys := map[string]string{}
	for _, l := range lines[1:] {
		k, v, ok := strings.Cut(l, "=")
		if _, twice := keys[k]; !ok || twice || v == "" {
			t.Errorf("line %q", l)
		}
		keys[k] = v
	}
	for k, want := range map[string]string{
		"Type": "Application", "Name": "Loadline", "Exec": program + " %f", "TryExec": program, "Icon": program,
		"Terminal": "false", "Comment": summary,
	} {
		if keys[k] != want {
			t.Errorf("%s is %q, want %q", k, keys[k], want)
		}
	}
	if !strings.HasSuffix(keys["Categories"], ";") || !strings.HasSuffix(keys["MimeType"], ";") {
		t.Error("a list ends with a semicolon")
	}
}

func TestMetainfo(t *testing.T) {
	got := string(metainfo(when))
	wellFormed(t, "metainfo", got)
	for _, want := range []string{
		"<id>" + componentID + "</id>", `<launchable type="desktop-id">` + program + ".desktop</launchable>",
		"<summary>" + summary + "</summary>", `<release version="` + version + `" date="2026-11-25"/>`,
	} {
		if !strings.Contains(got, want) {
			t.Errorf("no %s", want)
		}
	}
	if strings.Contains(got, "@") {
		t.Error("something was not put in")
	}
}

// What is recognised as a manifest is what the checks write.
func TestMIME(t *testing.T) {
	got := string(text("mime.xml"))
	wellFormed(t, "mime.xml", got)
	magic := regexp.MustCompile(`offset="0" value="([^"]+)"`).FindStringSubmatch(got)
	if magic == nil {
		t.Fatal("no magic")
	}
	if !manifest.Begins([]byte(magic[1])) || manifest.Begins([]byte("# Loadline manifest")) {
		t.Errorf("no manifest begins with %q", magic[1])
	}
}

// The keys are those of Apple's Information Property List reference.
func TestInfoPlist(t *testing.T) {
	got := string(infoPlist())
	wellFormed(t, "Info.plist", got)
	if strings.Contains(got, "@") {
		t.Error("something was not put in")
	}
	value := func(key string) string {
		m := regexp.MustCompile(`<key>` + key + `</key>\s*<string>([^<]*)</string>`).FindStringSubmatch(got)
		if m == nil {
			return ""
		}
		return m[1]
	}
	for k, want := range map[string]string{
		"CFBundleExecutable": program, "CFBundleIdentifier": componentID, "CFBundleShortVersionString": version,
		"CFBundlePackageType": "APPL", "CFBundleIconFile": "loadline", "LSMinimumSystemVersion": macOldest,
	} {
		if value(k) != want {
			t.Errorf("%s is %q, want %q", k, value(k), want)
		}
	}
	for _, k := range []string{
		"NSRemovableVolumesUsageDescription", "NSNetworkVolumesUsageDescription", "NSDesktopFolderUsageDescription",
		"NSDocumentsFolderUsageDescription", "NSDownloadsFolderUsageDescription",
	} {
		if !strings.HasPrefix(value(k), "Loadline ") {
			t.Errorf("%s says %q", k, value(k))
		}
	}
}

func wellFormed(t *testing.T, name, s string) {
	t.Helper()
	for d := xml.NewDecoder(strings.NewReader(s)); ; {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
	}
}

// Every size shows the icon: see-through in the corner, where the frame is round, and in its colours where
// icon.svg has them.
func TestIcons(t *testing.T) {
	for _, size := range append([]int{1024}, iconSizes...) {
		b, err := drawIcon(size)
		if err != nil {
			t.Fatal(err)
		}
		p, err := png.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		if got := p.Bounds(); got.Dx() != size || got.Dy() != size {
			t.Errorf("size %d: %v", size, got)
		}
		if _, _, _, a := p.At(0, 0).RGBA(); a > 0x7fff || size >= 64 && a != 0 {
			t.Errorf("size %d: the corner is not see-through", size)
		}
		at := func(x, y float64) string {
			r, g, b, _ := p.At(int(x*float64(size)/128), int(y*float64(size)/128)).RGBA()
			return fmt.Sprintf("#%02x%02x%02x", r>>8, g>>8, b>>8)
		}
		if size < 64 {
			continue // every pixel is a mixture
		}
		for _, c := range []struct {
			x, y float64
			want string
		}{{64, 12, "#0e4f59"}, {30, 51, "#ffc864"}, {64, 85, "#6fc6d0"}} {
			if got := at(c.x, c.y); got != c.want {
				t.Errorf("size %d: %s at %v, %v, want %s", size, got, c.x, c.y, c.want)
			}
		}
	}
}

func TestICNS(t *testing.T) {
	b, err := icns()
	if err != nil {
		t.Fatal(err)
	}
	if string(b[:4]) != "icns" || int(binary.BigEndian.Uint32(b[4:])) != len(b) {
		t.Fatalf("head % x of %d bytes", b[:8], len(b))
	}
	var got []string
	for rest := b[8:]; len(rest) > 0; {
		n := binary.BigEndian.Uint32(rest[4:])
		c, err := png.DecodeConfig(bytes.NewReader(rest[8:n]))
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, fmt.Sprintf("%s %d", rest[:4], c.Width))
		rest = rest[n:]
	}
	want := []string{"icp4 16", "icp5 32", "ic07 128", "ic08 256", "ic09 512", "ic10 1024", "ic11 32", "ic12 64", "ic13 256", "ic14 512"}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

func TestNeeds(t *testing.T) {
	symbols := []elf.ImportedSymbol{{Name: "a", Version: "GLIBC_2.2.5"}, {Name: "b", Version: "GLIBC_2.34"}, {Name: "c", Version: "GLIBC_2.4"}, {Name: "d"}}
	debian, rpm, err := needs([]string{"libGL.so.1", "libc.so.6", "libm.so.6"}, symbols)
	if err != nil {
		t.Fatal(err)
	}
	if want := strings.Split("libc6 (>= 2.34)|libgl1|libx11-6|libxcursor1|libxi6|libxinerama1|libxrandr2|libxxf86vm1", "|"); !slices.Equal(debian, want) {
		t.Errorf("Debian: %q, want %q", debian, want)
	}
	if !slices.Contains(rpm, "libc.so.6(GLIBC_2.34)(64bit)") || !slices.Contains(rpm, "libGL.so.1()(64bit)") {
		t.Errorf("RPM: %q", rpm)
	}
	if _, _, err := needs([]string{"libnew.so.1"}, symbols); err == nil {
		t.Error("a library of no package was taken")
	}
}

func TestCompareDots(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{{"2.34", "2.4", 1}, {"2.4", "2.34", -1}, {"2.2.5", "2.2", 1}, {"2.34", "2.34", 0}, {"2.2", "", 1}} {
		if got := compareDots(c.a, c.b); got != c.want {
			t.Errorf("%s and %s: %d", c.a, c.b, got)
		}
	}
}

func TestDate(t *testing.T) {
	p := Packer{Ask: func(_ context.Context, name string, args ...string) (string, error) { return "1764054490", nil }}
	for _, c := range []struct {
		epoch, want string
	}{
		{"", "2025-11-25T07:08:10Z"}, {"1700000000", "2023-11-14T22:13:20Z"}, {"yesterday", ""}, {"0", ""}, {"-5", ""}, {"99999999999", ""},
	} {
		got, err := p.date(t.Context(), c.epoch)
		if (err != nil) != (c.want == "") || err == nil && got.Format(time.RFC3339) != c.want {
			t.Errorf("%q: %s, %v", c.epoch, got, err)
		}
	}
}

// A folder that holds something is left as it is, and so is the wrong system.
func TestMakeRefuses(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "old.deb"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, p := range []Packer{{System: "linux", Out: dir}, {System: "windows", Out: t.TempDir()}, {System: "linux"}} {
		if err := p.Make(t.Context()); err == nil {
			t.Errorf("%+v was taken", p)
		}
	}
	if all, _ := os.ReadDir(dir); len(all) != 1 {
		t.Errorf("the folder holds %v", all)
	}
}

// Nothing is left where a build fails.
func TestMakeLeavesNothing(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	no := errors.New("no compiler")
	p := Packer{
		System: "linux", Out: out, Say: io.Discard,
		Run: func(context.Context, []string, string, ...string) error { return no },
		Ask: func(context.Context, string, ...string) (string, error) { return "1764054490", nil },
	}
	if err := p.Make(t.Context()); !errors.Is(err, no) {
		t.Errorf("got %v", err)
	}
	if all, err := os.ReadDir(out); err != nil || len(all) != 0 {
		t.Errorf("left behind: %v, %v", all, err)
	}
}

func TestWindowFlags(t *testing.T) {
	got, err := windowFlags("../../loadline/main.go")
	if err != nil || len(got) < 2 || got[0].name != "demo" {
		t.Errorf("%+v, %v", got, err)
	}
	none := filepath.Join(t.TempDir(), "a.go")
	if err := os.WriteFile(none, []byte("package a\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := windowFlags(none); err == nil {
		t.Error("a window without flags has a manual all the same")
	}
	page, err := windowManual("../../loadline/main.go", when)
	if err != nil || !bytes.Contains(page, []byte(".B \\-demo\n")) || bytes.Contains(page, []byte("@")) {
		t.Errorf("%s, %v", page, err)
	}
}

func TestHandbook(t *testing.T) {
	page, err := handbook("../../../checks/README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"<title>Loadline " + version, "<table>", "not-a-mount", "</html>"} {
		if !bytes.Contains(page, []byte(want)) {
			t.Errorf("no %s", want)
		}
	}
}

// What the resources of a program for Windows must say (Microsoft, "Application manifests").
func TestWinres(t *testing.T) {
	for _, window := range []bool{true, false} {
		b, err := winres(target{"windows", "amd64", window}, []string{"a.png"})
		if err != nil {
			t.Fatal(err)
		}
		var got struct {
			Manifest map[string]map[string]struct {
				Long bool   `json:"long-path-aware"`
				DPI  string `json:"dpi-awareness"`
			} `json:"RT_MANIFEST"`
		}
		if err := json.Unmarshal(b, &got); err != nil {
			t.Fatal(err)
		}
		if m := got.Manifest["#1"]["0409"]; !m.Long || m.DPI != "per monitor v2" {
			t.Errorf("manifest %+v", m)
		}
	}
}

func TestNfpmConfig(t *testing.T) {
	b, err := nfpmConfig(tree{{path: "usr/bin/loadline", mode: 0o755}, {path: "usr/share/x y*", mode: 0o644}}, "/root", []string{"libc6"}, when)
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Version  string
		Globbing bool `json:"disable_globbing"`
		Contents []struct {
			Src, Dst string
			Info     struct{ Mode int } `json:"file_info"`
		}
	}
	if err := json.Unmarshal(b, &got); err != nil {
		t.Fatal(err)
	}
	if got.Version != version || !got.Globbing || len(got.Contents) != 2 || got.Contents[1].Dst != "/usr/share/x y*" || got.Contents[0].Info.Mode != 0o755 {
		t.Errorf("%+v", got)
	}
}

// names are the paths of a tree.
func (t tree) names() []string {
	set := map[string]bool{}
	for _, f := range t {
		set[path.Clean(f.path)] = true
	}
	return slices.Sorted(maps.Keys(set))
}
