package gui

import (
	"loadline/checks"
	"loadline/gui/kit"
)

// loadOf reads the gauge's numbers from a report; ok is false where the share's size is unknown.
func loadOf(space *checks.Result, share *checks.Place, totals checks.Totals) (kit.Load, bool) {
	l := kit.Load{Total: -1, Copy: totals.Bytes}
	free := int64(-1)
	if share != nil {
		l.Total, free = share.Total, share.Free
	}
	spare := int64(-1)
	if space != nil {
		if v, ok := whole(space, "need_bytes"); ok {
			l.Copy = v
		}
		if v, ok := whole(space, "free_bytes"); ok {
			free = v
		}
		if v, ok := whole(space, "total_bytes"); ok {
			l.Total = v
		}
		if v, ok := whole(space, "left_bytes"); ok { // what already is there is not copied again
			l.Copy = free - v
		}
		if v, ok := whole(space, "margin_bytes"); ok {
			spare = v
		}
	}
	if l.Total <= 0 || free < 0 {
		return l, false
	}
	if spare < 0 {
		spare = l.Copy / 50
	}
	l.Used = l.Total - free
	l.Line = max(l.Total-spare, 0)
	return l, true
}

// whole returns a fact as a number.
func whole(r *checks.Result, key string) (int64, bool) {
	v, ok := number(r, key)
	return int64(v), ok
}

func number(r *checks.Result, key string) (float64, bool) {
	switch v := r.Fact(key).Value.(type) {
	case int:
		return float64(v), true
	case int64:
		return float64(v), true
	case uint64:
		return float64(v), true
	case float64:
		return v, true
	}
	return 0, false
}
