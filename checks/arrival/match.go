package arrival

import (
	"bytes"
	"context"
	"fmt"
	"path"
	"time"

	"loadline/checks"
	"loadline/checks/arrival/listing"
	"loadline/checks/manifest"
	"loadline/checks/names"
)

// find reads the listings once, to see that they can be read to their ends, what they hold, and how their keys
// correspond to paths.
func (a *arrival) find(ctx context.Context) error {
	sized, loose := make([]*finder, len(a.archives)), make([]*finder, len(a.archives))
	for i, r := range a.archives {
		sized[i], loose[i] = newFinder(r.x, true), newFinder(r.x, false)
	}
	kinds := len(a.kinds)
	var special coded
	err := a.read(ctx, "Reading the listing", func(_ int, r *listing.Row) error {
		a.note(r)
		if r.Deleted {
			return nil
		}
		plain := bytes.IndexByte(r.Key, '%') < 0 && bytes.IndexByte(r.Key, '+') < 0
		if !plain {
			special.add(r.Key)
		}
		for _, reading := range listing.Readings {
			if plain && reading != listing.Raw {
				break
			}
			key := reading.Decode(r.Key)
			for i := range a.archives {
				sized[i].see(key, r.Size, reading)
				if len(sized[i].votes) == 0 {
					loose[i].see(key, r.Size, reading)
				}
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	found := false
	for i, r := range a.archives {
		for _, reading := range listing.Readings {
			m, ok := sized[i].best(reading, r.want, len(a.archives) > 1)
			if !ok {
				m, ok = loose[i].best(reading, r.want, len(a.archives) > 1)
			}
			if a.o.HasPrefix {
				m, ok = mapping{keyHead: r.want.keyHead}, true
			}
			found = found || ok
			r.under[reading] = m
		}
	}
	if !found {
		return a.anotherArchive()
	}
	if err := a.chooseReading(ctx, &special); err != nil {
		return err
	}
	for _, r := range a.archives {
		r.m = r.under[a.reading]
	}
	if len(a.kinds) > kinds && a.wanted() != a.keep {
		return a.loadAllAgain(ctx)
	}
	return nil
}

// loadAllAgain reads the manifests once more, where rows far down in the listing hold checksums of another kind.
func (a *arrival) loadAllAgain(ctx context.Context) error {
	found := make([]mapping, len(a.archives))
	for i, r := range a.archives {
		found[i] = r.m
	}
	err := a.loadAll(ctx)
	for i, r := range a.archives {
		r.m = found[i]
	}
	return err
}

func (a *arrival) anotherArchive() error {
	n := int64(0)
	for _, f := range a.formats {
		n += f.Objects
	}
	h := a.archives[0].x.Header
	return &listing.Error{
		Err: fmt.Errorf("no file of the manifest (made of %[2]s on %[3]s) is among its %[1]s: it is the listing of another archive or folder, or was made before the arrival",
			checks.Plural(n, "object"), names.Quote(h.Source), h.Made.Format(time.DateOnly)),
		Hint: "list all objects of the archive",
	}
}

// chooseReading settles how the keys of all listings are read. Keys without a percent sign and without a plus
// read alike, so the others decide.
func (a *arrival) chooseReading(ctx context.Context, special *coded) error {
	chooser := listing.Chooser{Known: func(reading listing.Reading, key []byte) bool {
		for _, r := range a.archives {
			if p, inside := r.under[reading].path(key); inside && r.cursor.Find(p) >= 0 {
				return true
			}
		}
		return false
	}}
	if special.over {
		if err := a.read(ctx, "Finding how the keys are written", func(_ int, r *listing.Row) error {
			if !r.Deleted && bytes.ContainsAny(r.Key, "%+") {
				chooser.Look(r.Key)
			}
			return nil
		}); err != nil {
			return err
		}
	} else {
		special.each(chooser.Look)
	}
	a.reading = chooser.Best()
	return nil
}

// fileOf finds the file of a key: its archive and number, or nil and the path it would have. counted is false where
// the key is none of the archive.
func (a *arrival) fileOf(key []byte, each func(r *archive, file int)) (p []byte, found, counted bool) {
	key = a.reading.Decode(key)
	shown := key
	inside := false
	for _, r := range a.archives {
		p, in := r.m.path(key)
		if !in {
			continue
		}
		if !inside {
			shown = p
		}
		inside = true
		if i := r.cursor.Find(p); i >= 0 {
			found = true
			each(r, i)
		}
	}
	if found || !inside {
		return shown, found, found
	}
	return shown, false, len(shown) > 0 && shown[len(shown)-1] != '/' && !manifest.IsName(path.Base(string(shown)))
}
