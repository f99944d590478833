// Package input reads what people type into the fields of the window, and writes what the window itself puts
// there: paths, rates, times, sizes and numbers, and the text that is looked for in paths. It needs no toolkit.
package input

import (
	"strconv"
	"strings"

	"loadline/checks/names"
)

// ShowPath writes a path as it may stand in a text field, and Path reads it back: a name that could mislead
// the eye stands in quotes and escapes.
func ShowPath(p string) string {
	if p == "" {
		return ""
	}
	return names.Quote(p)
}

// Path reads a path that was typed, or written by ShowPath.
func Path(s string) string {
	s = strings.TrimSpace(s)
	if len(s) > 1 && s[0] == '"' {
		if p, err := strconv.Unquote(s); err == nil {
			return p
		}
	}
	return s
}

// ShowPaths and Paths are the same for several files: each in quotes, a space between.
func ShowPaths(list []string) string {
	if len(list) == 1 {
		return ShowPath(list[0])
	}
	quoted := make([]string, len(list))
	for i, p := range list {
		quoted[i] = strconv.Quote(p)
	}
	return strings.Join(quoted, " ")
}

// Paths reads what ShowPaths has written, or one path that was typed.
func Paths(s string) []string {
	whole := strings.TrimSpace(s)
	if whole == "" {
		return nil
	}
	var list []string
	for rest := whole; strings.HasPrefix(rest, `"`); {
		q, err := strconv.QuotedPrefix(rest)
		if err != nil {
			break
		}
		p, err := strconv.Unquote(q)
		if err != nil {
			break
		}
		list, rest = append(list, p), strings.TrimSpace(rest[len(q):])
		if rest == "" {
			return list
		}
	}
	return []string{whole}
}
