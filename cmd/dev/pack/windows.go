package pack

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
)

// windows makes the archive for Windows: unpack it anywhere and open loadline.exe.
func (p *Packer) windows(ctx context.Context, done string) error {
	made, err := p.made(ctx)
	if err != nil {
		return err
	}
	t := tree{
		{path: "LICENSE.txt", mode: 0o644, content: crlf(made.licence)},
		{path: "LICENCES.txt", mode: 0o644, content: crlf(made.licences)},
		{path: "README.txt", mode: 0o644, content: crlf(bytes.ReplaceAll(text("windows.txt"), []byte("@VERSION@"), []byte(version)))},
		{path: "handbook.html", mode: 0o644, content: made.handbook},
	}
	for _, window := range []bool{true, false} {
		one := target{"windows", "amd64", window}
		exe, err := p.build(ctx, one)
		if err != nil {
			return err
		}
		if err := p.resources(ctx, one, exe); err != nil {
			return err
		}
		t = append(t, file{path: filepath.Base(exe), mode: 0o755, from: exe})
	}
	name := program + "-" + version + "-windows-amd64"
	fmt.Fprintf(p.Say, "Writing %s.zip.\n", name)
	return writeZip(filepath.Join(done, name+".zip"), t.below(name), p.When)
}

// resources puts icon, version and manifest into a program for Windows.
func (p *Packer) resources(ctx context.Context, t target, exe string) error {
	dir := filepath.Join(p.work, "winres")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	var icons []string
	for _, size := range []int{256, 64, 48, 32, 16} {
		picture, err := drawIcon(size)
		if err != nil {
			return err
		}
		name := fmt.Sprintf("icon-%d.png", size)
		if err := os.WriteFile(filepath.Join(dir, name), picture, 0o644); err != nil {
			return err
		}
		icons = append(icons, name)
	}
	recipe, err := winres(t, icons)
	if err != nil {
		return err
	}
	in := filepath.Join(dir, "winres.json")
	if err := os.WriteFile(in, recipe, 0o644); err != nil {
		return err
	}
	return p.Tool(ctx, nil, "go-winres", "patch", "--in", in, "--no-backup", exe)
}

// winres is the recipe of the resources. A path may have more than 260 characters only where the
// manifest says longPathAware, and a window is sharp on every screen only as "per monitor v2"
// (Microsoft, "Application manifests").
func winres(t target, icons []string) ([]byte, error) {
	what, name := summary, program
	if !t.window {
		what, name = summary+" (command)", command
	}
	number := version + ".0"
	return json.MarshalIndent(map[string]any{
		"RT_GROUP_ICON": map[string]any{"APP": map[string]any{"0000": icons}},
		"RT_MANIFEST": map[string]any{"#1": map[string]any{"0409": map[string]any{
			"description": what, "minimum-os": "win10", "execution-level": "as invoker",
			"dpi-awareness": "per monitor v2", "long-path-aware": true, "use-common-controls-v6": t.window,
		}}},
		"RT_VERSION": map[string]any{"#1": map[string]any{"0000": map[string]any{
			"fixed": map[string]any{"file_version": number, "product_version": number},
			"info": map[string]any{"0409": map[string]any{
				"FileDescription": what, "FileVersion": version, "ProductName": "Loadline", "ProductVersion": version,
				"InternalName": name, "OriginalFilename": name + ".exe", "LegalCopyright": copyright,
			}},
		}}},
	}, "", " ")
}

// crlf ends lines as the plainest editor of Windows wants it.
func crlf(b []byte) []byte {
	return bytes.ReplaceAll(bytes.ReplaceAll(b, []byte("\r\n"), []byte("\n")), []byte("\n"), []byte("\r\n"))
}
