package before

import (
	"strings"
	"testing"

	"loadline/checks"
	"loadline/checks/share"
	"loadline/checks/walk"
)

// Files that take up less than their size without holes: those that a Mac keeps compressed are as any other, and
// those whose content is on a server would be fetched (bsd/sys/stat.h of xnu, UF_COMPRESSED and SF_DATALESS).
func TestFlagsOfAMac(t *testing.T) {
	pass := checks.NewPass(fileKinds, &checks.Job{ObjectBytes: 1 << 40}, 1)
	fileKinds.Visit(pass, &walk.Dir{Path: "films", Entries: []walk.Entry{
		{Name: "compressed.rtf", Size: 1 << 20, Blocks: 0, BlockSize: 4096, Links: 1, Compressed: true},
		{Name: "elsewhere.mov", Size: 1 << 30, Blocks: 0, BlockSize: 4096, Links: 1, Dataless: true},
		{Name: "hole.img", Size: 1 << 20, Blocks: 8, BlockSize: 4096, Links: 1},
		{Name: "plain", Size: 1 << 20, Blocks: 2048, BlockSize: 4096, Links: 1},
	}})
	var got []string
	for _, f := range pass.Close("").Findings {
		got = append(got, f.Rule.ID+" "+f.Path)
	}
	if want := "dataless-file films/elsewhere.mov, sparse-file films/hole.img"; strings.Join(got, ", ") != want {
		t.Errorf("%s, want %s", strings.Join(got, ", "), want)
	}
}

// The limit of paths is that of the system that copies: bsd/sys/syslimits.h of xnu, PATH_MAX 1,024 with its NUL.
func TestPathsOfAMac(t *testing.T) {
	for _, c := range []struct {
		on            share.Platform
		source, share int // bytes of their paths
		name          int
		long          bool
	}{
		{share.MacOS, 10, 32, 990, false},
		{share.MacOS, 10, 32, 991, true},
		{share.MacOS, 40, 32, 982, false},
		{share.MacOS, 40, 32, 983, true},
		{share.Linux, 40, 32, 983, false},
		{share.Linux, 10, 32, 4062, false},
		{share.Linux, 10, 32, 4063, true},
	} {
		path := func(n int) string { return "/" + strings.Repeat("s", n-1) }
		job := checks.Job{Source: path(c.source), Share: path(c.share), KeyBytes: 1 << 20}
		pass := checks.NewPass(pathDepth, &job, 1)
		pass.State = newPathState(&job, c.on)
		visitPaths(pass, &walk.Dir{Entries: []walk.Entry{{Name: strings.Repeat("a", c.name), Links: 1}}})
		if got := pass.Total(pathTooLong) == 1; got != c.long {
			t.Errorf("%+v: flagged %v", c, got)
		}
	}
}
