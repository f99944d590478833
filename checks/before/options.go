package before

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/share"
)

var (
	mountSoft = &checks.Rule{
		ID: "mount-soft", Level: checks.Fail,
		When:   "the option soft or softerr is in force",
		Fix:    "Mount again with the option hard: a soft mount gives up after a time-out and can lose what was written without warning.",
		Source: "nfs(5): a soft timeout can cause silent data corruption; mount_nfs(8) of macOS",
	}
	mountUDP = &checks.Rule{
		ID: "mount-udp", Level: checks.Fail,
		When:   "the share is mounted over UDP",
		Fix:    "Mount again over TCP: over UDP, fragments of different packets can be joined into wrong data.",
		Source: "nfs(5), using NFS over UDP on high-speed links",
	}
	mountReadOnly = &checks.Rule{
		ID: "mount-read-only", Level: checks.Fail,
		When:   "the share is mounted read-only",
		Fix:    "Mount again with the option rw.",
		Source: "mount(8), option ro",
	}
	mountAsync = &checks.Rule{
		ID: "mount-async", Level: checks.Fail,
		When:   "on a Mac, the option async is in force: what the server has only in memory counts as written to its disks",
		Fix:    "Mount again without async: if the appliance loses power, what it had not written yet is lost without warning.",
		Source: "mount_nfs(8) of macOS, async: risk of data loss if the server crashes",
	}
	deadTimeout = &checks.Rule{
		ID: "dead-timeout", Level: checks.Fail,
		When:   "on a Mac, the option deadtimeout is in force: a share that is silent for that long is unmounted by force",
		Fix:    "Mount again with deadtimeout=0, or without it: what was not written yet is lost, and the copy goes on into an empty folder.",
		Source: "mount_nfs(8) of macOS, deadtimeout",
	}
	nfsVersion = &checks.Rule{
		ID: "nfs-version", Level: checks.Note,
		When:   "version 2 of NFS holds no file over 2 GiB (fails); version 3 keeps no extended attributes and dates only from 1970 to 2106",
		Fix:    "If the appliance offers it, mount with vers=4.2, or at least vers=3.",
		Source: "RFC 1094 (from memory), RFC 1813; mount_nfs(8) of macOS: up to 4.1 there",
	}
	smallTransferSize = &checks.Rule{
		ID: "small-transfer-size", Level: checks.Warn,
		When:   "rsize or wsize in force is under 131,072 bytes; 1,048,576 is the most",
		Fix:    "Mount again with rsize=1048576,wsize=1048576: the server grants what it can.",
		Source: "nfs(5) rsize, wsize; NFS_MAXDATA in nfsproto.h of xnu; the threshold is common practice, no source",
	}
	attributeCacheOff = &checks.Rule{
		ID: "attribute-cache-off", Level: checks.Warn,
		When:   "noac, sync, actimeo=0 or lookupcache=none is in force: every file costs more calls",
		Fix:    "Mount again without that option. You are the only writer.",
		Source: "nfs(5); 2.8 times the calls, measured",
	}
	shortTimeout = &checks.Rule{
		ID: "short-timeout", Level: checks.Note,
		When:   "timeo is under 600 tenths of a second over TCP (warns on a soft mount); not on a Mac, where it is for UDP",
		Fix:    "Mount again without timeo, or with timeo=600.",
		Source: "nfs(5): defaults timeo=600, retrans=2; mount_nfs(8) of macOS",
	}
	noLocks = &checks.Rule{
		ID: "no-locks", Level: checks.Note,
		When:   "locks are kept on this computer only, or not at all; harmless with one writer",
		Fix:    "Nothing to do as long as this computer alone writes to the share.",
		Source: "nfs(5) nolock, local_lock; mount_nfs(8) of macOS, locallocks, nolocks",
	}
	noInterrupt = &checks.Rule{
		ID: "no-interrupt", Level: checks.Note,
		When:   "on a Mac, nointr is in force: while the server is away nothing can stop a program that waits for it",
		Fix:    "Nothing is lost. Mount again with intr if you want to be able to stop a copy then.",
		Source: "mount_nfs(8) of macOS, intr",
	}
	namesToNFC = &checks.Rule{
		ID: "names-to-nfc", Level: checks.Note,
		When:   "on a Mac, nfc is in force: names go to the server in Unicode normal form C, whatever they are on the disk",
		Fix:    "Nothing to do if you expect keys in form C; else mount again with nonfc.",
		Source: "mount_nfs(8) of macOS, nfc; UAX #15",
	}
)

// The limits of the mount options.
const (
	leastTransfer = 131_072 // bytes (common practice, no source)
	usualTimeout  = 600     // tenths of a second, nfs(5)
)

var mountOptions = &checks.Check{
	ID: "mount-options", Title: "The mount options are safe for a long copy", Group: checks.GroupShare, NeedsShare: true,
	Doc: "Reads the options that are really in force, not those that were asked for: the kernel and the " +
		"server agree on some of them. A few make a long copy slow, and a few can lose data " +
		"without an error. Where the system does not show whether the mount is hard or soft, that is not judged.",
	Fix: "Mount the share again with the commands shown here.",
	Rules: []*checks.Rule{
		mountSoft, mountUDP, mountReadOnly, mountAsync, deadTimeout, nfsVersion, smallTransferSize, attributeCacheOff,
		shortTimeout, noLocks, noInterrupt, namesToNFC,
	},
	Needs: []*checks.Check{ShareMounted},
	Finish: func(_ context.Context, pass *checks.Pass) error {
		s := checks.StateOf[shareState](pass, ShareMounted)
		if s == nil || s.Facts == nil {
			return errors.New("nothing is known about the mount")
		}
		if s.Facts.System {
			return errors.New(s.Why + ", so there are no options to judge")
		}
		err := judgeOptions(pass, s.Facts)
		if worst, found := pass.Worst(); err != nil || found && worst > checks.Note {
			tellToMountAgain(pass, s.Facts)
		}
		return err
	},
}

// errNeither: whether writes can be lost depends on it.
var errNeither = errors.New("neither hard nor soft shows in the options in force, so nobody can say whether a silent server would cost data")

// tellToMountAgain gives the commands that set right what is in force.
func tellToMountAgain(pass *checks.Pass, f *share.Facts) {
	if !f.NFS {
		return
	}
	lines, err := share.MountAgain(f.On(), &f.Mount)
	if err != nil || slices.ContainsFunc(lines, func(l string) bool { return names.Quote(l) != l }) {
		return // nothing that can be typed as it stands
	}
	pass.Commands("mount_again", "To mount it again with what is in force set right, when nothing uses the share:", lines...)
}

// options are those of a mount in force.
type options struct{ *share.Mount }

func (o options) has(name string) bool { _, ok := o.Option(name); return ok }

func (o options) number(name string) (int, bool) {
	v, ok := o.Option(name)
	if !ok {
		return 0, false
	}
	n, err := strconv.Atoi(v)
	return n, err == nil
}

func judgeOptions(pass *checks.Pass, f *share.Facts) error {
	o := options{&f.Mount}
	mac := f.On() == share.MacOS
	soft := o.has("soft") || o.has("softerr")
	if soft {
		pass.FlagJob(mountSoft, "%s is in force", choose(o.has("softerr"), "softerr", "soft"))
	}
	proto, _ := o.Option("proto")
	udp := proto == "udp" || proto == "udp6" || o.has("udp")
	if udp {
		pass.FlagJob(mountUDP, "proto=%s is in force", cmp.Or(proto, "udp"))
	}
	if slices.Contains(o.Options, "ro") {
		pass.FlagJob(mountReadOnly, "ro is in force")
	}
	judgeVersion(pass, f)
	for _, option := range []string{"rsize", "wsize"} {
		if n, ok := o.number(option); ok && f.NFS {
			pass.Fact(option, n, "%s in force: %s bytes; %s at most", option, checks.Count(int64(n)), checks.Count(1<<20))
			if n < leastTransfer {
				small := checks.Finding{
					Rule: smallTransferSize, Level: smallTransferSize.Level,
					Detail: fmt.Sprintf("%s is %s bytes, at least %s are wanted", option, checks.Count(int64(n)), checks.Count(leastTransfer)),
				}
				if mac {
					// NFS_MAXDATA of xnu 4903 (10.14), 6153 (10.15), 7195 (11) and later
					small.Remedy = "Mount again with rsize=1048576,wsize=1048576; macOS 10.15 takes 131072 at most. A Mac asks for 32768 by itself."
				}
				pass.Add(small)
			}
		}
	}
	for _, option := range []string{"noac", "sync"} {
		if o.has(option) {
			pass.FlagJob(attributeCacheOff, "%s is in force", option)
		}
	}
	if zeroCache(o.Mount) {
		pass.FlagJob(attributeCacheOff, "actimeo=0 is in force")
	}
	if v, _ := o.Option("lookupcache"); v == "none" {
		pass.FlagJob(attributeCacheOff, "lookupcache=none is in force")
	}
	if n, ok := o.number("timeo"); ok && f.NFS && !udp && !mac && n < usualTimeout {
		level := checks.Note
		if soft {
			level = checks.Warn
		}
		pass.Add(checks.Finding{Rule: shortTimeout, Level: level, Detail: "timeo is " + strconv.Itoa(n) + " tenths of a second, the default is " + strconv.Itoa(usualTimeout)})
	}
	if v, ok := o.Option("local_lock"); o.has("nolock") || o.has("locallocks") || ok && v != "none" {
		pass.FlagJob(noLocks, "%s in force", choose(v != "" && v != "none", "local_lock="+v, choose(o.has("locallocks"), "locallocks", "nolock")))
	}
	if mac && f.NFS {
		judgeMac(pass, o)
	}
	if len(o.Options) > 0 {
		pass.Fact("options", o.Options, "In force: %s", names.Quote(strings.Join(o.Options, ", ")))
	}
	if !soft && !o.has("hard") && f.Network {
		return errNeither
	}
	if !f.NFS {
		pass.Summarize("Not an NFS mount: only the options that any file system has could be judged.")
		return nil
	}
	pass.Summarize("NFS version %s over %s, %s.", cmp.Or(f.Version, "unknown"), cmp.Or(proto, "an unknown protocol"), choose(soft, "soft", "hard"))
	return nil
}

// judgeVersion says what a version of NFS costs, and which ones the client at hand has instead.
func judgeVersion(pass *checks.Pass, f *share.Facts) {
	major, _, _ := strings.Cut(f.Version, ".")
	switch major {
	case "2":
		v2 := checks.Finding{
			Rule: nfsVersion, Level: checks.Fail, Detail: "version 2 in force: no file over 2 GiB",
			Remedy: "Mount again with vers=4.2, or at least vers=3.",
		}
		switch f.On() {
		case share.MacOS:
			v2.Remedy = "Mount again with vers=3, or vers=4.1 if the appliance offers that."
		case share.Windows:
			v2.Remedy = "Find out why the appliance does not offer version 3, which this system's client would choose."
		}
		pass.Add(v2)
	case "3":
		v3 := checks.Finding{Rule: nfsVersion, Level: nfsVersion.Level, Detail: "version 3 in force: no extended attributes, dates from 1970 to 2106 only"}
		switch f.On() {
		case share.MacOS:
			v3.Remedy = "Nothing to do for a copy of these years. If the appliance offers version 4, vers=4.1 or vers=4 hold all dates; this system has no 4.2."
		case share.Windows:
			v3.Remedy = "Nothing to do: this system's client has no later version."
		}
		pass.Add(v3)
	}
}

// judgeMac judges options that only a Mac has, or that mean something else elsewhere.
func judgeMac(pass *checks.Pass, o options) {
	if o.has("async") {
		pass.FlagJob(mountAsync, "async is in force")
	}
	if n, ok := o.number("deadtimeout"); ok && n > 0 {
		pass.FlagJob(deadTimeout, "deadtimeout is %d seconds", n)
	}
	if o.has("nointr") {
		pass.FlagJob(noInterrupt, "nointr is in force")
	}
	if o.has("nfc") {
		pass.FlagJob(namesToNFC, "nfc is in force")
	}
}

// zeroCache knows the forms in which the kernel shows actimeo=0.
func zeroCache(m *share.Mount) bool {
	if v, ok := m.Option("actimeo"); ok && v == "0" {
		return true
	}
	for _, option := range []string{"acregmin", "acregmax", "acdirmin", "acdirmax"} {
		if v, ok := m.Option(option); !ok || v != "0" {
			return false
		}
	}
	return true
}
