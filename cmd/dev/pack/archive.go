package pack

import (
	"archive/tar"
	"archive/zip"
	"cmp"
	"compress/flate"
	"compress/gzip"
	"crypto/sha256"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// A file is one file of a tree: its place, with slashes, and what is in it.
type file struct {
	path    string
	mode    fs.FileMode // 0o644 or 0o755
	content []byte      // or, for what is large:
	from    string      // a file on this disk
}

func (f file) read() ([]byte, error) {
	if f.from == "" {
		return f.content, nil
	}
	return os.ReadFile(f.from)
}

// A tree is what one archive or package holds.
type tree []file

// sorted is the tree by path, so that the order in which it was put together does not count.
func (t tree) sorted() tree {
	return slices.SortedFunc(slices.Values(t), func(a, b file) int { return cmp.Compare(a.path, b.path) })
}

// below is the tree inside a folder.
func (t tree) below(folder string) tree {
	out := slices.Clone(t)
	for i := range out {
		out[i].path = path.Join(folder, out[i].path)
	}
	return out
}

// folders are all folders of a tree, from the top down.
func (t tree) folders() []string {
	seen := map[string]bool{}
	for _, f := range t {
		for d := path.Dir(f.path); d != "."; d = path.Dir(d) {
			seen[d] = true
		}
	}
	return slices.Sorted(maps.Keys(seen))
}

// writeTarGz writes a tree so that it depends on nothing but the tree and the date.
func writeTarGz(name string, t tree, when time.Time) error {
	return writeNew(name, func(w io.Writer) error {
		z, err := gzip.NewWriterLevel(w, gzip.BestCompression) // its head holds no name and no date
		if err != nil {
			return err
		}
		out := tar.NewWriter(z)
		for _, d := range t.folders() {
			if err := out.WriteHeader(&tar.Header{Typeflag: tar.TypeDir, Name: d + "/", Mode: 0o755, ModTime: when, Format: tar.FormatUSTAR}); err != nil {
				return err
			}
		}
		for _, f := range t.sorted() {
			b, err := f.read()
			if err != nil {
				return err
			}
			if err := out.WriteHeader(&tar.Header{Typeflag: tar.TypeReg, Name: f.path, Mode: int64(f.mode), Size: int64(len(b)), ModTime: when, Format: tar.FormatUSTAR}); err != nil {
				return err
			}
			if _, err := out.Write(b); err != nil {
				return err
			}
		}
		if err := out.Close(); err != nil {
			return err
		}
		return z.Close()
	})
}

// writeZip is writeTarGz as a zip archive, which Windows and macOS open by a double click.
func writeZip(name string, t tree, when time.Time) error {
	return writeNew(name, func(w io.Writer) error {
		out := zip.NewWriter(w)
		out.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) { return flate.NewWriter(w, flate.BestCompression) })
		for _, f := range t.sorted() {
			b, err := f.read()
			if err != nil {
				return err
			}
			h := &zip.FileHeader{Name: f.path, Method: zip.Deflate, Modified: when}
			h.SetMode(f.mode)
			to, err := out.CreateHeader(h)
			if err != nil {
				return err
			}
			if _, err := to.Write(b); err != nil {
				return err
			}
		}
		return out.Close()
	})
}

// unpack writes a tree to a folder on this disk.
func (t tree) unpack(dir string, when time.Time) error {
	for _, f := range t.sorted() {
		b, err := f.read()
		if err != nil {
			return err
		}
		to := filepath.Join(dir, filepath.FromSlash(f.path))
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(to, b, f.mode); err != nil {
			return err
		}
		if err := os.Chmod(to, f.mode); err != nil { // whatever the umask
			return err
		}
		if err := os.Chtimes(to, when, when); err != nil {
			return err
		}
	}
	return nil
}

// gzipped is what gzip -9n makes: no name, no date.
func gzipped(b []byte) ([]byte, error) {
	var s strings.Builder
	z, err := gzip.NewWriterLevel(&s, gzip.BestCompression)
	if err != nil {
		return nil, err
	}
	if _, err := z.Write(b); err != nil {
		return nil, err
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	return []byte(s.String()), nil
}

func writeNew(name string, write func(io.Writer) error) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	if err := write(f); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

// sumsFile is the list of checksums, in the form that sha256sum -c reads.
const sumsFile = "SHA256SUMS"

// writeSums writes the checksums of all files below a folder.
func writeSums(dir string) error {
	var lines strings.Builder
	err := fs.WalkDir(os.DirFS(dir), ".", func(name string, e fs.DirEntry, err error) error { // in order of names
		if err != nil || e.IsDir() || name == sumsFile {
			return err
		}
		f, err := os.Open(filepath.Join(dir, filepath.FromSlash(name)))
		if err != nil {
			return err
		}
		defer f.Close()
		h := sha256.New()
		if _, err := io.Copy(h, f); err != nil {
			return err
		}
		fmt.Fprintf(&lines, "%x  %s\n", h.Sum(nil), name)
		return nil
	})
	if err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dir, sumsFile), []byte(lines.String()), 0o644)
}
