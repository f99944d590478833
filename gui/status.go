package gui

import (
	"loadline/checks"
	"loadline/gui/kit"
)

func statusBadge(s checks.Status) kit.Badge {
	switch s {
	case checks.Passed:
		return kit.Badge{Mark: "pass", Color: kit.ColPass}
	case checks.Warned:
		return kit.Badge{Mark: "warn", Color: kit.ColWarn}
	case checks.Failed:
		return kit.Badge{Mark: "fail", Color: kit.ColFail}
	case checks.Unknown:
		return kit.Badge{Mark: "unknown", Color: kit.ColUnknown}
	case checks.Running:
		return kit.Badge{Mark: "running", Color: kit.ColAccent}
	}
	return kit.Badge{Mark: "waiting", Color: kit.ColIdle}
}

func levelBadge(l checks.Level) kit.Badge {
	switch l {
	case checks.Fail:
		return statusBadge(checks.Failed)
	case checks.Warn:
		return statusBadge(checks.Warned)
	}
	return kit.Badge{Mark: "note", Color: kit.ColIdle}
}

// levelWord is the word for a finding's level.
func levelWord(l checks.Level) string {
	switch l {
	case checks.Fail:
		return checks.Failed.Word()
	case checks.Warn:
		return checks.Warned.Word()
	}
	return "Note"
}
