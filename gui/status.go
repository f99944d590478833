package gui

import (
	"loadline/checks"
)

func statusBadge(s checks.Status) badge {
	switch s {
	case checks.Pass:
		return badge{"pass", colPass}
	case checks.Warned:
		return badge{"warn", colWarn}
	case checks.Failed:
		return badge{"fail", colFail}
	case checks.Unknown:
		return badge{"unknown", colUnknown}
	case checks.Running:
		return badge{"running", colAccent}
	}
	return badge{"waiting", colIdle}
}

func levelBadge(l checks.Level) badge {
	switch l {
	case checks.Fail:
		return statusBadge(checks.Failed)
	case checks.Warn:
		return statusBadge(checks.Warned)
	}
	return badge{"note", colIdle}
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
