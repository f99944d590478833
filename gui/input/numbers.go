package input

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/dustin/go-humanize"

	"loadline/checks"
)

// Rate reads a rate, in bits a second; a bare number means megabits a second, and nothing means 0.
func Rate(s string) (float64, error) {
	s = strings.TrimSpace(s)
	if s == "" {
		return 0, nil
	}
	if isNumber(s) {
		s += " Mb/s"
	}
	return checks.ParseRate(s)
}

// Hours reads a duration; a bare number means hours, and nothing means 0.
func Hours(s string) (time.Duration, error) {
	t := strings.ReplaceAll(strings.TrimSpace(s), " ", "")
	if t == "" {
		return 0, nil
	}
	for _, unit := range []string{"hours", "hour"} {
		t = strings.TrimSuffix(t, unit)
	}
	if isNumber(t) {
		t += "h"
	}
	d, err := time.ParseDuration(strings.ReplaceAll(t, "min", "m"))
	if err != nil || d <= 0 || d > 10_000*time.Hour {
		return 0, fmt.Errorf("%q is not a time; write hours, like 6 or 5.5", s)
	}
	return d, nil
}

// Size reads what a box takes. A bare number is refused: nobody means bytes, and to guess the unit of a box
// would be worse than to ask.
func Size(s string) (int64, error) {
	s = strings.TrimSpace(s)
	switch {
	case s == "":
		return 0, errors.New("say how much it takes, like 8 TB")
	case isNumber(s):
		return 0, errors.New("add the unit, like 8 TB")
	}
	n, err := humanize.ParseBytes(s)
	if err != nil || n == 0 || n > 1<<62 {
		return 0, errors.New("write a size, like 8 TB")
	}
	return int64(n), nil
}

// RoundedDown writes a number of bytes in three digits or so, never as more than it is.
func RoundedDown(n int64) string {
	for _, u := range []struct {
		name string
		size int64
	}{{"TB", 1e12}, {"GB", 1e9}, {"MB", 1e6}, {"kB", 1e3}} {
		if n >= u.size {
			v := float64(n) / float64(u.size)
			digits := math.Pow(10, max(0, 2-math.Floor(math.Log10(v))))
			return strconv.FormatFloat(math.Floor(v*digits)/digits, 'f', -1, 64) + " " + u.name
		}
	}
	return fmt.Sprintf("%d B", n)
}

// Entries reads how many files and folders a box takes; nothing means 0. Digits may stand in groups.
func Entries(s string) (int64, error) {
	s = strings.NewReplacer(",", "", "\u00a0", "", " ", "").Replace(s)
	if s == "" {
		return 0, nil
	}
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil || n < 1 {
		return 0, errors.New("write a number, like 1,000,000, or nothing")
	}
	return n, nil
}

// Percent reads how much of a copy is to be read; nothing means 0, which stands for all of it.
func Percent(s string) (float64, error) {
	s = strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(s), "%"))
	if s == "" {
		return 0, nil
	}
	n, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return 0, fmt.Errorf("%q is not a number; write one over 0, and 100 at most, or nothing to read every file", s)
	}
	if !(n > 0 && n <= 100) {
		return 0, errors.New("the sample must be over 0 per cent, and 100 at most; write nothing to read every file")
	}
	return n, nil
}

func isNumber(s string) bool {
	_, err := strconv.ParseFloat(s, 64)
	return err == nil
}
