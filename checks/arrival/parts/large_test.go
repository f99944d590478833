//go:build !race

package parts

import (
	"encoding/hex"
	"encoding/json"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

func TestHasherAgainstPython(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for round := range 12 {
		size := rng.IntN(3 << 20)
		switch round {
		case 0:
			size = 0
		case 1:
			size = 1 << 20
		}
		data := make([]byte, size)
		for i := range data {
			data[i] = byte(rng.Uint32())
		}
		sizes := []int64{1 << 20, 1, int64(size) + 1, int64(rng.IntN(1<<20) + 1), 65536}
		if size > 1000 {
			sizes[1] = int64(max(size/997, 1))
		}
		path := filepath.Join(t.TempDir(), "data")
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		arg, _ := json.Marshal(sizes)
		text, err := exec.Command("python3", "-c", python, path, string(arg)).Output()
		if err != nil {
			t.Fatal(err)
		}
		var want []map[string]any
		if err := json.Unmarshal(text, &want); err != nil {
			t.Fatal(err)
		}
		for name, newHash := range hashes {
			h := NewHasher(newHash, sizes)
			for rest := data; len(rest) > 0; {
				n := min(len(rest), 1+rng.IntN(200_000))
				_, _ = h.Write(rest[:n]) // it never fails
				rest = rest[n:]
			}
			for i, r := range h.Results() {
				if r.PartSize != sizes[i] || float64(r.Parts) != want[i]["n"] || hex.EncodeToString(r.Digest) != want[i][name] {
					t.Errorf("%d bytes in parts of %d: %s %x-%d, Python has %v-%v", size, sizes[i], name, r.Digest, r.Parts, want[i][name], want[i]["n"])
				}
				if count(int64(size), sizes[i]) != int64(r.Parts) {
					t.Errorf("Count(%d, %d) is not %d", size, sizes[i], r.Parts)
				}
			}
		}
	}
}
