package gui

import (
	"strconv"
	"strings"

	"loadline/checks/names"
)

// showPath writes a path as it may stand in a text field, and typedPath reads it back: a name that
// could mislead the eye stands in quotes and escapes.
func showPath(p string) string {
	if p == "" {
		return ""
	}
	return names.Quote(p)
}

// showPaths and typedPaths are the same for several files: each in quotes, a space between.
func showPaths(list []string) string {
	if len(list) == 1 {
		return showPath(list[0])
	}
	quoted := make([]string, len(list))
	for i, p := range list {
		quoted[i] = strconv.Quote(p)
	}
	return strings.Join(quoted, " ")
}

func typedPaths(s string) []string {
	rest := strings.TrimSpace(s)
	var list []string
	for strings.HasPrefix(rest, `"`) {
		q, err := strconv.QuotedPrefix(rest)
		if err != nil {
			break
		}
		p, err := strconv.Unquote(q)
		if err != nil {
			break
		}
		list, rest = append(list, p), strings.TrimSpace(rest[len(q):])
	}
	switch {
	case rest == "" && len(list) > 0:
		return list
	case strings.TrimSpace(s) == "":
		return nil
	}
	return []string{strings.TrimSpace(s)}
}

func typedPath(s string) string {
	s = strings.TrimSpace(s)
	if len(s) > 1 && s[0] == '"' {
		if p, err := strconv.Unquote(s); err == nil {
			return p
		}
	}
	return s
}
