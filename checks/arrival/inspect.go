package arrival

import (
	"context"
	"errors"

	"loadline/checks"
	"loadline/checks/arrival/listing"
	"loadline/checks/manifest"
)

// Understood is how a listing would be read, for a person to confirm before it is compared.
type Understood struct {
	Format *listing.Format // of the first file: its columns, its first rows, whether its columns were guessed
	Rows   []listing.Row   // the first objects in it
	Parts  []listing.Part  // all files of it
	Absent []string        // files that belong to it and are not there
	// Matched is how many of Rows are files of the manifest, under Reading, Head being what their keys begin
	// with besides. -1: no manifest was given.
	Matched int
	Reading listing.Reading
	Head    string
}

// Inspect says how listings would be read, with the first rows, n at most, and how many of those are files of a
// manifest, if one is named. With a large manifest it takes seconds. The errors are those of Run.
func Inspect(ctx context.Context, file string, listings []string, o Options, n int) (*Understood, error) {
	a := &arrival{o: &o, listings: listings}
	var err error
	if len(listings) == 0 {
		return nil, &checks.JobError{Field: checks.FieldListing, Err: errors.New("no listing was given"), Hint: "choose the store’s list of its objects"}
	}
	if a.set, err = listing.Gather(listings); err != nil {
		return nil, a.badListing(ctx, err)
	}
	u := &Understood{Parts: a.set.Parts, Absent: a.set.Absent, Matched: -1}
	if u.Format, u.Rows, err = a.set.Inspect(ctx, a.listingOptions(), 0, n); err != nil {
		return nil, a.badListing(ctx, err)
	}
	if file == "" {
		return u, nil
	}
	x, err := manifest.Load(ctx, file, manifest.Keep{}, nil)
	if err != nil {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		return nil, &checks.JobError{Field: checks.FieldManifest, Err: err}
	}
	u.match(x, &o)
	return u, nil
}

// match finds how the keys of the first rows are read, as the comparison does with all of them. Few rows and many
// files leave no room for a sample: the ends of the keys are looked for in the whole manifest.
func (u *Understood) match(x *manifest.Index, o *Options) {
	want := expected(x.Header.Prefix)
	if o.HasPrefix {
		want = expected(o.Prefix)
	}
	heads := []mapping{want}
	if !o.HasPrefix {
		heads = append(heads, u.heads()...)
	}
	u.Matched = 0
	c := x.Cursor()
	for _, m := range heads {
		for _, reading := range listing.Readings {
			found := 0
			for i := range u.Rows {
				if p, inside := m.path(reading.Decode(u.Rows[i].Key)); inside && c.Find(p) >= 0 {
					found++
				}
			}
			if found > u.Matched {
				u.Matched, u.Reading, u.Head = found, reading, m.keyHead
			}
		}
	}
}

// heads are what the keys may begin with: the folders of the first one.
func (u *Understood) heads() []mapping {
	if len(u.Rows) == 0 {
		return nil
	}
	list := []mapping{{}}
	for i, c := range u.Rows[0].Key {
		if c == '/' {
			list = append(list, mapping{keyHead: string(u.Rows[0].Key[:i+1])})
		}
	}
	return list
}
