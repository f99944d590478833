package share

import (
	"errors"
	"io/fs"

	"loadline/checks/internal/disk"
)

// Rules that the write trial finds broken. Their texts stand with the checks.
const (
	ruleReadOnly     = "share-read-only"
	ruleDenied       = "share-denied"
	ruleLost         = "write-lost"
	ruleFull         = "share-full"
	ruleStale        = "stale-handle"
	ruleOwnerNotKept = "owner-not-kept"
)

// ruleOf says which rule an error of the share breaks, "" where none names it.
func ruleOf(err error) string {
	switch {
	case disk.ReadOnly(err):
		return ruleReadOnly
	case isStale(err):
		return ruleStale
	case disk.Full(err):
		return ruleFull
	case errors.Is(err, fs.ErrPermission):
		return ruleDenied
	case isIO(err):
		return ruleLost
	}
	return ""
}

// trouble makes a problem of an error that came up while doing something, under the rule that it breaks. soft
// says that the share is mounted soft, where an I/O error is how a silent server looks.
func trouble(rule, doing string, err error, soft bool) Problem {
	p := Problem{Rule: rule, Detail: doing, Err: disk.WithoutPath(err)}
	if soft && isIO(err) {
		p.Detail += ": the server did not answer in time, and a soft mount reports that as an input/output error; the write is lost"
	}
	return p
}

// ownFault says that an error is of this computer and tells nothing of the share.
func ownFault(err error) bool { return isTooManyFiles(err) }
