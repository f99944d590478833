package kit

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
)

// Parent is a widget that shows things which are not its own, so that a walk over a window finds them.
type Parent interface {
	fyne.CanvasObject
	Children() []fyne.CanvasObject
	Arrange() // puts them in their places again, at the present size
}

// Relayout lays out everything below a thing again, from the top down. The toolkit does so only where
// a size changes; a text that wraps may want another height at the same width. Where nothing has
// changed, nothing is drawn.
func Relayout(o fyne.CanvasObject) {
	switch x := o.(type) {
	case *fyne.Container:
		if x.Layout != nil {
			x.Layout.Layout(x.Objects, x.Size())
		}
		for _, c := range x.Objects {
			Relayout(c)
		}
	case Parent:
		x.Arrange()
		for _, c := range x.Children() {
			Relayout(c)
		}
	}
}

// Repaint has the window drawn again as it is, for what shows or moves without telling the toolkit.
func Repaint(o fyne.CanvasObject) {
	c := fyne.CurrentApp().Driver().CanvasForObject(o)
	if d, ok := c.(interface{ SetDirty() }); ok {
		d.SetDirty()
	}
}

// wayTo returns what leads from a root to a thing, both included; nil where it stands elsewhere.
func wayTo(root, o fyne.CanvasObject) []fyne.CanvasObject {
	if root == o {
		return []fyne.CanvasObject{o}
	}
	var inside []fyne.CanvasObject
	switch x := root.(type) {
	case *fyne.Container:
		inside = x.Objects
	case *container.ThemeOverride:
		inside = []fyne.CanvasObject{x.Content}
	case Parent:
		inside = x.Children()
	}
	for _, c := range inside {
		if way := wayTo(c, o); way != nil {
			return append([]fyne.CanvasObject{root}, way...)
		}
	}
	return nil
}
