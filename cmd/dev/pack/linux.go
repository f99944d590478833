package pack

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"loadline/assets"
)

// doc is where a person finds what there is to read, on Linux.
const doc = "usr/share/doc/loadline"

// linux makes the packages and archives for Linux.
func (p *Packer) linux(ctx context.Context, done string) error {
	window, err := p.build(ctx, target{"linux", "amd64", true})
	if err != nil {
		return err
	}
	cli, err := p.build(ctx, target{"linux", "amd64", false})
	if err != nil {
		return err
	}
	arm, err := p.build(ctx, target{"linux", "arm64", false})
	if err != nil {
		return err
	}
	made, err := p.made(ctx)
	if err != nil {
		return err
	}
	all, err := linuxTree(made, window, cli)
	if err != nil {
		return err
	}
	if err := p.packages(ctx, done, all, window); err != nil {
		return err
	}
	archive, err := looseTree(all, made)
	if err != nil {
		return err
	}
	if err := p.tarGz(done, program+"-"+version+"-linux-amd64", archive); err != nil {
		return err
	}
	return p.tarGz(done, command+"-"+version+"-linux-arm64", commandTree(made, arm))
}

func (p *Packer) tarGz(done, name string, t tree) error {
	fmt.Fprintf(p.Say, "Writing %s.tar.gz.\n", name)
	return writeTarGz(filepath.Join(done, name+".tar.gz"), t.below(name), p.When)
}

// made is what is made from the program itself, whatever the system.
type made struct {
	when       time.Time
	manCommand []byte
	manWindow  []byte
	completion map[string][]byte // by shell
	handbook   []byte            // HTML
	licences   []byte
	licence    []byte // our own
}

// made builds the command for this machine and asks it.
func (p *Packer) made(ctx context.Context) (*made, error) {
	here := filepath.Join(p.work, "here", command)
	if _, err := os.Stat(here); err != nil {
		if err := p.Run(ctx, []string{"CGO_ENABLED=0", "GOFLAGS=-trimpath"}, "go", "build", "-buildvcs=true", "-o", here, "./cmd/"+command); err != nil {
			return nil, err
		}
	}
	m := &made{when: p.When, completion: map[string][]byte{}}
	for _, one := range []struct {
		to   func([]byte)
		args []string
	}{
		{func(b []byte) { m.manCommand = b }, []string{"man"}},
		{func(b []byte) { m.licences = b }, []string{"version", "-licences"}},
		{func(b []byte) { m.completion["bash"] = b }, []string{"completion", "bash"}},
		{func(b []byte) { m.completion["zsh"] = b }, []string{"completion", "zsh"}},
		{func(b []byte) { m.completion["fish"] = b }, []string{"completion", "fish"}},
	} {
		out, err := p.Ask(ctx, here, one.args...)
		if err != nil {
			return nil, err
		}
		one.to([]byte(out + "\n"))
	}
	var err error
	if m.manWindow, err = windowManual("cmd/"+program+"/main.go", p.When); err != nil {
		return nil, err
	}
	if m.handbook, err = handbook("checks/README.md"); err != nil {
		return nil, err
	}
	m.licence, err = os.ReadFile("LICENSE")
	return m, err
}

// linuxTree is what a package for Linux puts on a disk.
func linuxTree(m *made, window, cli string) (tree, error) {
	t := tree{
		{path: "usr/bin/" + program, mode: 0o755, from: window},
		{path: "usr/bin/" + command, mode: 0o755, from: cli},
		{path: "usr/share/applications/" + program + ".desktop", mode: 0o644, content: desktopEntry()},
		{path: "usr/share/metainfo/" + componentID + ".metainfo.xml", mode: 0o644, content: metainfo(m.when)},
		{path: "usr/share/mime/packages/" + program + ".xml", mode: 0o644, content: text("mime.xml")},
		{path: "usr/share/icons/hicolor/scalable/apps/" + program + ".svg", mode: 0o644, content: assets.IconSVG()},
		{path: "usr/share/bash-completion/completions/" + command, mode: 0o644, content: m.completion["bash"]},
		{path: "usr/share/zsh/vendor-completions/_" + command, mode: 0o644, content: m.completion["zsh"]},
		{path: "usr/share/fish/vendor_completions.d/" + command + ".fish", mode: 0o644, content: m.completion["fish"]},
		{path: doc + "/handbook.html", mode: 0o644, content: m.handbook},
		{path: doc + "/copyright", mode: 0o644, content: slices.Concat(text("copyright.txt"), m.licence)},
		{path: doc + "/built-in.txt", mode: 0o644, content: m.licences},
	}
	for _, size := range iconSizes {
		picture, err := drawIcon(size)
		if err != nil {
			return nil, err
		}
		t = append(t, file{path: fmt.Sprintf("usr/share/icons/hicolor/%dx%d/apps/%s.png", size, size, program), mode: 0o644, content: picture})
	}
	for name, page := range map[string][]byte{program: m.manWindow, command: m.manCommand} {
		small, err := gzipped(page)
		if err != nil {
			return nil, err
		}
		t = append(t, file{path: "usr/share/man/man1/" + name + ".1.gz", mode: 0o644, content: small})
	}
	return t.sorted(), nil
}

// looseTree is what the archive holds: the same without "usr" around it, so that it can be unpacked into
// ~/.local as well as used where it lies, and a word on how.
func looseTree(t tree, m *made) (tree, error) {
	var out tree
	for _, f := range t {
		f.path = strings.TrimPrefix(f.path, "usr/")
		out = append(out, f)
	}
	return append(out, file{path: "README.txt", mode: 0o644, content: text("linux.txt")}, file{path: "LICENSE", mode: 0o644, content: m.licence}).sorted(), nil
}

// commandTree is what the archive of the command alone holds.
func commandTree(m *made, cli string) tree {
	return tree{
		{path: command, mode: 0o755, from: cli},
		{path: "LICENSE", mode: 0o644, content: m.licence},
		{path: "LICENCES.txt", mode: 0o644, content: m.licences},
		{path: "handbook.html", mode: 0o644, content: m.handbook},
		{path: command + ".1", mode: 0o644, content: m.manCommand},
		{path: "completion/bash", mode: 0o644, content: m.completion["bash"]},
		{path: "completion/zsh", mode: 0o644, content: m.completion["zsh"]},
		{path: "completion/fish", mode: 0o644, content: m.completion["fish"]},
	}
}

// packages makes the .deb and the .rpm from one tree.
func (p *Packer) packages(ctx context.Context, done string, t tree, window string) error {
	debian, rpm, err := linked(window)
	if err != nil {
		return err
	}
	for _, kind := range []struct {
		name, target string
		depends      []string
		extra        tree
	}{
		{"deb", fmt.Sprintf("%s_%s_amd64.deb", program, version), debian, debianExtra(p.When)},
		{"rpm", fmt.Sprintf("%s-%s-1.x86_64.rpm", program, version), rpm, nil},
	} {
		fmt.Fprintf(p.Say, "Writing %s.\n", kind.target)
		root := filepath.Join(p.work, kind.name)
		all := slices.Concat(t, kind.extra).sorted()
		if kind.name == "rpm" { // where each family looks for what zsh completes: Debian in vendor-completions
			for i := range all {
				all[i].path = strings.Replace(all[i].path, "zsh/vendor-completions", "zsh/site-functions", 1)
			}
		}
		if err := all.unpack(root, p.When); err != nil {
			return err
		}
		config, err := nfpmConfig(all, root, kind.depends, p.When)
		if err != nil {
			return err
		}
		where := filepath.Join(p.work, kind.name+".json")
		if err := os.WriteFile(where, config, 0o644); err != nil {
			return err
		}
		env := []string{fmt.Sprintf("SOURCE_DATE_EPOCH=%d", p.When.Unix())}
		if err := p.Tool(ctx, env, "nfpm", "package", "--config", where, "--packager", kind.name, "--target", filepath.Join(done, kind.target)); err != nil {
			return err
		}
	}
	return nil
}

// debianExtra is what Debian wants beside: a change log and reasons for what its checker says.
func debianExtra(when time.Time) tree {
	log, err := gzipped([]byte(fmt.Sprintf("%s (%s-1) unstable; urgency=medium\n\n  * Version %s; see the release notes for what is new.\n\n -- The Loadline authors <%s>  %s\n",
		program, version, version, mail, when.Format(time.RFC1123Z))))
	if err != nil {
		panic(err) // into memory
	}
	return tree{
		{path: doc + "/changelog.Debian.gz", mode: 0o644, content: log},
		{path: "usr/share/lintian/overrides/" + program, mode: 0o644, content: text("lintian-overrides")},
	}
}

// mail is an address that can be nobody's (RFC 2606): a package must have one.
const mail = "authors@loadline.example"

// nfpmConfig is the recipe of a package; YAML takes JSON as it is.
func nfpmConfig(t tree, root string, depends []string, when time.Time) ([]byte, error) {
	type info struct {
		Mode  int       `json:"mode"`
		MTime time.Time `json:"mtime"`
		Owner string    `json:"owner"`
		Group string    `json:"group"`
	}
	type content struct {
		Source string `json:"src,omitempty"`
		To     string `json:"dst"`
		Info   info   `json:"file_info"`
	}
	var contents []content
	for _, f := range t {
		contents = append(contents, content{
			filepath.Join(root, filepath.FromSlash(f.path)), "/" + f.path,
			info{int(f.mode), when, "root", "root"},
		})
	}
	return json.MarshalIndent(map[string]any{
		"name": program, "arch": "amd64", "platform": "linux", "version": version, "release": "1",
		"section": "utils", "priority": "optional", "mtime": when, "umask": 0o22, "disable_globbing": true,
		"maintainer": "The Loadline authors <" + mail + ">", "license": "BSD-2-Clause",
		"description": summary + "\n" + strings.TrimSpace(string(text("description.txt"))),
		"depends":     depends, "contents": contents,
		"deb": map[string]any{"compression": "xz"},
		"rpm": map[string]any{
			"compression": "xz", "buildhost": "localhost", "summary": summary, "group": "Applications/File",
			"packager": "The Loadline authors <" + mail + ">",
		},
	}, "", " ")
}
