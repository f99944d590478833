package pack

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
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
			name, env = program, []string{"GOOS=" + t.system, "GOARCH=" + t.arch, "CGO_ENABLED=1", "GOFLAGS=-tags=" + WindowTags}
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
		b, err := os.ReadFile(out)
		if err != nil {
			return err
		}
		if b, err = sameAnywhere(b); err != nil {
			return fmt.Errorf("%s: %w", out, err)
		}
		if err := os.WriteFile(out, b, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// sameAnywhere takes the checksum of the tool that made a bill out of it: it depends on where that tool was
// built.
func sameAnywhere(bill []byte) ([]byte, error) {
	var all map[string]any
	if err := json.Unmarshal(bill, &all); err != nil {
		return nil, err
	}
	metadata, _ := all["metadata"].(map[string]any)
	tools, _ := metadata["tools"].([]any)
	if len(tools) == 0 {
		return nil, errors.New("does not say what made it")
	}
	for _, t := range tools {
		if one, ok := t.(map[string]any); ok {
			delete(one, "hashes")
		}
	}
	return json.MarshalIndent(all, "", "  ")
}
