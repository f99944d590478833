package manifest

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"

	"github.com/dustin/go-humanize"

	"loadline/checks/internal/disk"
	"loadline/checks/internal/sums"
)

// WriteBag writes the tag files of a bag (RFC 8493) into a new folder: bagit.txt, bag-info.txt, the
// manifests, and the tag manifest. The payload is the copy: move or link it into the folder as "data"
// to make the bag whole.
func WriteBag(dir string, h *Header, files iter.Seq[*File]) error {
	if err := os.Mkdir(dir, 0o755); err != nil {
		return err
	}
	withMD5 := true
	for f := range files {
		withMD5 = withMD5 && f.Sums.Has&sums.MD5 != 0
	}
	payload := func(digest func(*sums.Sums) []byte) func(io.Writer) error {
		return func(w io.Writer) error {
			var line []byte
			for f := range files {
				line = hex.AppendEncode(line[:0], digest(&f.Sums))
				line = append(line, "  data/"...)
				line = append(append(line, bagPath.Replace(string(f.Path))...), '\n')
				if _, err := w.Write(line); err != nil {
					return err
				}
			}
			return nil
		}
	}
	type tag struct {
		name string
		fill func(io.Writer) error
	}
	tags := []tag{
		{"bag-info.txt", func(w io.Writer) error {
			_, err := fmt.Fprintf(w, "Bagging-Date: %s\nBag-Size: %s\nPayload-Oxum: %d.%d\n", h.Made.Format("2006-01-02"), humanize.Bytes(uint64(h.Bytes)), h.Bytes, h.Files)
			return err
		}},
		{"bagit.txt", func(w io.Writer) error {
			_, err := io.WriteString(w, "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
			return err
		}},
		{"manifest-sha256.txt", payload(func(s *sums.Sums) []byte { return s.SHA256[:] })},
	}
	if withMD5 {
		tags = append(tags, tag{"manifest-md5.txt", payload(func(s *sums.Sums) []byte { return s.MD5[:] })})
	}
	var list []byte
	for _, t := range tags {
		sum := sha256.New()
		if err := disk.WriteNew(filepath.Join(dir, t.name), func(w io.Writer) error { return t.fill(io.MultiWriter(w, sum)) }); err != nil {
			return err
		}
		list = append(hex.AppendEncode(list, sum.Sum(nil)), "  "+t.name+"\n"...)
	}
	return disk.WriteNew(filepath.Join(dir, "tagmanifest-sha256.txt"), func(w io.Writer) error {
		_, err := w.Write(list)
		return err
	})
}
