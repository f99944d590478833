package share

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"

	"loadline/checks/internal/disk"
)

// longestLine bounds a line of a mount table: a row holds two paths and two lists of options, each
// of at most a page (proc(5), mount(2)); escapes make a byte four.
const longestLine = 1 << 20

// ParseMountInfo reads the rows of /proc/self/mountinfo in their order, oldest first (proc(5)).
func ParseMountInfo(r io.Reader) ([]Mount, error) {
	var rows []Mount
	err := eachLine(r, func(line string) error {
		m, err := parseMountInfoLine(line)
		if err == nil {
			rows = append(rows, m)
		}
		return err
	})
	return rows, err
}

func parseMountInfoLine(line string) (Mount, error) {
	row, ok := disk.ReadMountRow(line)
	if !ok {
		return Mount{}, fmt.Errorf("mount table row %q: too few fields", shorten(line))
	}
	m := Mount{Root: row.Root, Point: row.Point, Type: row.Type, From: row.Source}
	var err error
	if m.ID, err = strconv.Atoi(row.ID); err != nil {
		return Mount{}, fmt.Errorf("mount table row %q: number: %w", shorten(line), err)
	}
	if m.Parent, err = strconv.Atoi(row.Parent); err != nil {
		return Mount{}, fmt.Errorf("mount table row %q: parent: %w", shorten(line), err)
	}
	major, minor, ok := strings.Cut(row.Device, ":")
	hi, err1 := strconv.ParseUint(major, 10, 32)
	lo, err2 := strconv.ParseUint(minor, 10, 32)
	if !ok || err1 != nil || err2 != nil {
		return Mount{}, fmt.Errorf("mount table row %q: device %q", shorten(line), row.Device)
	}
	m.Device = makeDevice(hi, lo)
	m.Options = addOptions(splitOptions(row.Options), splitOptions(row.Super))
	return m, nil
}

// makeDevice puts two numbers together as st_dev does on Linux (makedev(3)).
func makeDevice(major, minor uint64) uint64 {
	return major&0xfff<<8 | major&^0xfff<<32 | minor&0xff | minor&^0xff<<12
}

// ParseMountStats reads the NFS rows of /proc/self/mountstats with the options in force, which
// here hold the times of the attribute cache too. Other rows are left out: they have no options.
func ParseMountStats(r io.Reader) ([]Mount, error) {
	var rows []Mount
	open := false // the last row is that of the block being read
	err := eachLine(r, func(line string) error {
		if rest, ok := strings.CutPrefix(line, "device "); ok {
			m, ok := parseDeviceLine(rest)
			open = ok && (m.Type == "nfs" || m.Type == "nfs4")
			if open {
				rows = append(rows, m)
			}
			return nil
		}
		if text, ok := strings.CutPrefix(strings.TrimLeft(line, "\t "), "opts:"); ok && open {
			m := &rows[len(rows)-1]
			m.Options = addOptions(m.Options, splitOptions(strings.TrimSpace(text)))
		}
		return nil
	})
	return rows, err
}

// parseDeviceLine reads "host:/export mounted on /mnt/share with fstype nfs statvers=1.1".
func parseDeviceLine(line string) (Mount, bool) {
	from, rest, ok := strings.Cut(line, " mounted on ")
	if !ok {
		return Mount{}, false
	}
	point, kind, ok := strings.Cut(rest, " with fstype ")
	if !ok {
		return Mount{}, false
	}
	kind, _, _ = strings.Cut(kind, " ")
	return Mount{From: disk.UnescapeMount(from), Point: disk.UnescapeMount(point), Root: "/", Type: kind}, true
}

// mergeOptions adds to every row the options that the rows of another source know of the same
// mount, and its status. Of stacked mounts the newest ones belong together. A text that cannot tell where the name of
// one ends and the other begins may have cut them elsewhere.
func mergeOptions(rows, more []Mount) {
	used := make([]bool, len(rows))
	for i := len(more) - 1; i >= 0; i-- {
		for j := len(rows) - 1; j >= 0; j-- {
			if !used[j] && rows[j].Point+" from "+rows[j].From == more[i].Point+" from "+more[i].From {
				used[j] = true
				rows[j].Status = addOptions(rows[j].Status, more[i].Status)
				rows[j].Options = addOptions(rows[j].Options, more[i].Options)
				break
			}
		}
	}
}

// addOptions appends those options that are not there yet.
func addOptions(to, more []string) []string {
	have := make(map[string]bool, len(to)+len(more))
	for _, o := range to {
		have[o] = true
	}
	for _, o := range more {
		if !have[o] {
			have[o] = true
			to = append(to, o)
		}
	}
	return to
}

// splitOptions cuts a list of options. Options are separated by commas; escapes stand for bytes.
func splitOptions(list string) []string {
	var out []string
	for o := range strings.SplitSeq(list, ",") {
		if o != "" {
			out = append(out, disk.UnescapeMount(o))
		}
	}
	return out
}

// eachLine calls f with every line that is not empty, without its line end.
func eachLine(r io.Reader, f func(string) error) error {
	sc := bufio.NewScanner(r)
	sc.Buffer(make([]byte, 0, 64<<10), longestLine)
	for sc.Scan() {
		line := strings.TrimRight(sc.Text(), "\r")
		if strings.TrimSpace(line) == "" {
			continue
		}
		if err := f(line); err != nil {
			return err
		}
	}
	if err := sc.Err(); err != nil {
		return fmt.Errorf("mount table: %w", err)
	}
	return nil
}

// shorten keeps an error readable.
func shorten(line string) string {
	if len(line) > 200 {
		return line[:200] + "…"
	}
	return line
}
