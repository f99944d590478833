package pack

import (
	"context"
	"fmt"
	"path/filepath"
)

// boms writes a bill of materials (CycloneDX, ECMA-424) for each program as it is built for each system:
// every module in it with its version and licence.
func (p *Packer) boms(ctx context.Context, done string) error {
	for _, t := range []target{
		{"linux", "amd64", true},
		{"linux", "amd64", false},
		{"windows", "amd64", true},
		{"windows", "amd64", false},
		{"darwin", "arm64", true},
		{"darwin", "arm64", false},
	} {
		name, env := command, []string{"GOOS=" + t.system, "GOARCH=" + t.arch, "CGO_ENABLED=0", "GOFLAGS="}
		if t.window {
			name, env = program, []string{"GOOS=" + t.system, "GOARCH=" + t.arch, "CGO_ENABLED=1", "GOFLAGS=-tags=" + windowTags}
		}
		system := t.system
		if system == "darwin" {
			system = "macos"
		}
		out := filepath.Join(done, fmt.Sprintf("%s-%s-%s-%s.cdx.json", name, version, system, t.arch))
		fmt.Fprintf(p.Say, "Writing %s.\n", filepath.Base(out))
		// Serial number and time would differ each time.
		if err := p.Tool(ctx, env, "cyclonedx-gomod", "app", "-json", "-licenses", "-std", "-noserial", "-notimestamp",
			"-main", "cmd/"+name, "-output", out, "."); err != nil {
			return err
		}
	}
	return nil
}
