package pack

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// macOldest is the oldest macOS that Go 1.26 makes programs for (Go 1.26 release notes, "Darwin").
const macOldest = "12.0"

// bundle is the folder that a Mac shows as one program.
const bundle = "Loadline.app"

// macCommands makes the archives of the command for macOS. They need no Mac: the command is free of
// cgo, and the Go linker signs what it makes for arm64 ad hoc.
func (p *Packer) macCommands(ctx context.Context, done string) error {
	made, err := p.made(ctx)
	if err != nil {
		return err
	}
	for _, arch := range []string{"amd64", "arm64"} {
		cli, err := p.build(ctx, target{"darwin", arch, false})
		if err != nil {
			return err
		}
		t := append(commandTree(made, cli), file{path: "README.txt", mode: 0o644, content: text("mac.txt")})
		if err := p.tarGz(done, command+"-"+version+"-macos-"+arch, t); err != nil {
			return err
		}
	}
	return nil
}

// macTree is the bundle without its program.
func (p *Packer) macTree(ctx context.Context) (tree, error) {
	made, err := p.made(ctx)
	if err != nil {
		return nil, err
	}
	icon, err := icns()
	if err != nil {
		return nil, err
	}
	return tree{
		{path: bundle + "/Contents/Info.plist", mode: 0o644, content: infoPlist()},
		{path: bundle + "/Contents/PkgInfo", mode: 0o644, content: []byte("APPL????")},
		{path: bundle + "/Contents/Resources/loadline.icns", mode: 0o644, content: icon},
		{path: bundle + "/Contents/Resources/handbook.html", mode: 0o644, content: made.handbook},
		{path: bundle + "/Contents/Resources/LICENSE.txt", mode: 0o644, content: made.licence},
		{path: bundle + "/Contents/Resources/LICENCES.txt", mode: 0o644, content: made.licences},
	}, nil
}

// macFrame leaves the bundle without its program, for a look: the window needs Apple's headers, and so a
// Mac. It goes into a folder whose name says so, not into an archive that somebody would hand on.
func (p *Packer) macFrame(ctx context.Context, done string) error {
	t, err := p.macTree(ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(p.Say, "Writing the frame of %s; on a Mac, the same command completes it.\n", bundle)
	return t.unpack(filepath.Join(done, "macos-without-window"), p.When)
}

// macBundle makes the whole bundle, on a Mac: window and command for both processors in one file each,
// signed ad hoc, so that the seal covers what is beside the program.
func (p *Packer) macBundle(ctx context.Context, done string) error {
	t, err := p.macTree(ctx)
	if err != nil {
		return err
	}
	root := filepath.Join(p.work, "mac")
	if err := t.unpack(root, p.When); err != nil {
		return err
	}
	programs := filepath.Join(root, bundle, "Contents", "MacOS")
	if err := os.MkdirAll(programs, 0o755); err != nil {
		return err
	}
	for _, window := range []bool{true, false} {
		var parts []string
		name := command
		for _, arch := range []string{"amd64", "arm64"} {
			one := target{"darwin", arch, window}
			part, err := p.build(ctx, one)
			if err != nil {
				return err
			}
			parts = append(parts, part)
		}
		if window {
			name = program
		}
		args := append([]string{"-create", "-output", filepath.Join(programs, name)}, parts...)
		if err := p.Run(ctx, nil, "lipo", args...); err != nil {
			return err
		}
		if err := p.Run(ctx, nil, "codesign", "--force", "--sign", "-", filepath.Join(programs, name)); err != nil {
			return err
		}
	}
	if err := p.Run(ctx, nil, "codesign", "--force", "--sign", "-", filepath.Join(root, bundle)); err != nil {
		return err
	}
	whole, err := readTree(root)
	if err != nil {
		return err
	}
	name := program + "-" + version + "-macos.zip"
	fmt.Fprintf(p.Say, "Writing %s.\n", name)
	return writeZip(filepath.Join(done, name), whole, p.When)
}

// readTree reads a tree from a disk.
func readTree(root string) (tree, error) {
	var t tree
	err := filepath.WalkDir(root, func(name string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		if !e.Type().IsRegular() {
			return errors.New(name + " is no plain file")
		}
		info, err := e.Info()
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, name)
		t = append(t, file{path: filepath.ToSlash(rel), mode: info.Mode().Perm(), from: name})
		return err
	})
	return t, err
}

// infoPlist tells macOS what the bundle is. The usage texts are shown where macOS asks the person
// whether the program may read a disk or a share (Apple, "Information Property List": Protected
// resources); without them the system's question gives no reason.
func infoPlist() []byte {
	return []byte(strings.NewReplacer("@ID@", componentID, "@VERSION@", version, "@OLDEST@", macOldest, "@COPYRIGHT@", copyright, "@PROGRAM@", program).
		Replace(string(text("Info.plist"))))
}
