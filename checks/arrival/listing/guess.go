package listing

import (
	"errors"
	"slices"
	"strconv"
	"strings"
)

// isHeader reports whether a column that holds numbers, dates or digests all the way down begins with none.
func isHeader(rows [][]string) bool {
	for i := range rows[0] {
		if c := heldIn(rows[1:], i); (c.ints || c.dates || c.sums) && c.filled > 0 {
			if first := heldIn(rows[:1], i); first.filled > 0 && !first.ints && !first.dates && !first.sums {
				return true
			}
		}
	}
	return false
}

// held is what a column holds in the sample.
type held struct {
	filled                   int // rows with a value
	ints, dates, truth, sums bool
	clock                    bool // whole numbers that may be times
	distinct                 int
	pathlike                 int // rows with a slash or the ending of a file name
	digest                   Kind
}

func heldIn(rows [][]string, i int) held {
	h := held{ints: true, dates: true, truth: true, sums: true, clock: true}
	seen := map[string]bool{}
	for _, row := range rows {
		text := strings.TrimSpace(row[i])
		seen[row[i]] = true
		if text == "" || text == "-" {
			continue
		}
		h.filled++
		b := []byte(text)
		if n, err := parseSize(b); err != nil {
			h.ints, h.clock = false, false
		} else if !(n >= 1e9 && n < 3e9 || n >= 1e12 && n < 3e12) {
			h.clock = false
		}
		h.dates = h.dates && len(text) >= 10 && !parseTime(b).IsZero() && len(text) < 40 && text[4:5] != ""
		switch text {
		case "true", "false", "True", "False", "TRUE", "FALSE":
		default:
			h.truth = false
		}
		d := readDigest(b, NoSum)
		if d.Kind == OtherSum || d.Kind == NoSum {
			h.sums = false
		} else {
			h.digest = d.Kind
		}
		if dot := strings.LastIndexByte(text, '.'); strings.IndexByte(text, '/') >= 0 || dot > 0 && len(text)-dot <= 6 && dot < len(text)-1 {
			h.pathlike++
		}
	}
	h.distinct = len(seen)
	if h.filled == 0 {
		h = held{distinct: h.distinct}
	}
	if h.ints && !h.clock {
		h.dates = false
	}
	return h
}

// guess settles the columns that nobody has named.
func (t *table) guess(fields []field, rows [][]string) error {
	all := make([]held, len(fields))
	free := make([]bool, len(fields))
	for i := range fields {
		all[i] = heldIn(rows, i)
		free[i] = fields[i].role == RoleNone
	}
	if best(fields, RoleSize) < 0 {
		var could []int
		for i, h := range all {
			if free[i] && h.ints && h.filled > 0 {
				could = append(could, i)
			}
		}
		// Times, and what is the same in every row, are sizes only if nothing else is one.
		could = fewer(could, func(i int) bool { return !all[i].clock })
		could = fewer(could, func(i int) bool { return all[i].distinct > 1 })
		if len(could) > 1 {
			return errors.New("the listing has no header, and more than one column could hold the size: " + numbers(could))
		}
		if len(could) == 1 {
			fields[could[0]].role = RoleSize
			free[could[0]] = false
		}
	}
	tags := -1
	for i, h := range all {
		if free[i] && h.sums && h.filled > 0 {
			fields[i].role, free[i] = RoleSum, false
			if h.digest == MD5 { // which may be tags as well, and tags are judged with more care
				fields[i].role = RoleTag
				tags = i
			}
		}
	}
	if best(fields, RoleKey) < 0 {
		var could []int
		for i, h := range all {
			if free[i] && h.filled == len(rows) && !h.truth && !h.dates {
				could = append(could, i)
			}
		}
		most := func(of func(held) int) {
			top := 0
			for _, i := range could {
				top = max(top, of(all[i]))
			}
			could = fewer(could, func(i int) bool { return of(all[i]) == top })
		}
		most(func(h held) int { return h.distinct })
		most(func(h held) int { return h.pathlike })
		switch len(could) {
		case 0:
			return errors.New("the listing has no header, and no column looks like the keys")
		case 1:
			fields[could[0]].role = RoleKey
			free[could[0]] = false
		default:
			return errors.New("the listing has no header, and more than one column could hold the key: " + numbers(could))
		}
	}
	if best(fields, RoleSize) < 0 && !slices.ContainsFunc(fields, func(f field) bool { return f.role == RoleSum || f.role == RoleTag }) {
		return namesOnlyError{}
	}
	for i, h := range all {
		switch {
		case !free[i]:
		case h.dates && h.filled > 0 && !h.ints:
			if best(fields, RoleModified) < 0 {
				fields[i].role = RoleModified
			}
		case h.truth && h.filled > 0 && !sentInParts(rows, i, tags):
			t.unnamed = append(t.unnamed, unnamed{column: i})
		}
	}
	return nil
}

// sentInParts reports whether a column of true and false says whether the tag is one of parts.
func sentInParts(rows [][]string, column, tags int) bool {
	if tags < 0 {
		return false
	}
	both := 0
	for _, row := range rows {
		d := readDigest([]byte(row[tags]), NoSum)
		v, known := truth([]byte(row[column]))
		if d.Kind == NoSum || !known || row[column] == "" {
			continue
		}
		if v != (d.Parts != 0) {
			return false
		}
		if v {
			both |= 1
		} else {
			both |= 2
		}
	}
	return both == 3
}

// fewer keeps those that meet a condition, unless none does.
func fewer(list []int, ok func(int) bool) []int {
	kept := slices.DeleteFunc(slices.Clone(list), func(i int) bool { return !ok(i) })
	if len(kept) == 0 {
		return list
	}
	return kept
}

func numbers(list []int) string {
	var s []string
	for _, i := range list {
		s = append(s, strconv.Itoa(i+1))
	}
	return strings.Join(s, ", ")
}
