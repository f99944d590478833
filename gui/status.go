package gui

import (
	"fyne.io/fyne/v2"

	"loadline/checks"
)

// look is a status as shape and colour; the word comes from checks.
type look struct {
	mark  string
	color fyne.ThemeColorName
}

func lookOf(s checks.Status) look {
	switch s {
	case checks.Passed:
		return look{"pass", colPass}
	case checks.Warned:
		return look{"warn", colWarn}
	case checks.Failed:
		return look{"fail", colFail}
	case checks.Unknown:
		return look{"unknown", colUnknown}
	case checks.Running:
		return look{"running", colAccent}
	}
	return look{"waiting", colIdle}
}

func lookOfLevel(l checks.Level) look {
	switch l {
	case checks.Fail:
		return lookOf(checks.Failed)
	case checks.Warn:
		return lookOf(checks.Warned)
	}
	return look{"note", colIdle}
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
