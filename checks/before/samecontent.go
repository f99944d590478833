package before

import (
	"fmt"
	"slices"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/walk"
)

// sameContentFrom is from which size on equal files are worth a word, bytes (common practice, no source).
const sameContentFrom = 1 << 20

// flagSame reports files of equal content.
func (e *everyByte) flagSame(pass *checks.Pass) {
	saved := int64(0)
	for key, paths := range e.same {
		if len(paths) < 2 {
			continue
		}
		slices.SortFunc(paths, comparePlaced)
		for _, p := range paths[1:] {
			saved = walk.AddSizes(saved, e.sizes[key])
			detail := "the same content as " + names.Quote(paths[0].path)
			if p.source != paths[0].source {
				detail += fmt.Sprintf(" on disk %d", paths[0].source+1)
			}
			pass.Add(checks.Finding{Source: p.source, Path: p.path, Rule: sameContent, Level: checks.Note, Size: e.sizes[key], Detail: detail})
		}
	}
	if saved > 0 {
		pass.Fact("same_content_bytes", saved, "Could be saved by copying equal files once: %s", checks.Bytes(saved))
	}
}
