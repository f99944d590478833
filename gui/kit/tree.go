package kit

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
)

// inside returns what a thing is made of, as far as it is not the toolkit's.
func inside(o fyne.CanvasObject) []fyne.CanvasObject {
	switch x := o.(type) {
	case *fyne.Container:
		return x.Objects
	case *container.Clip:
		return []fyne.CanvasObject{x.Content}
	case Drawn:
		return x.Parts()
	}
	return nil
}

// Relayout lays out everything below a thing again, from the top down. The toolkit does so only where
// a size changes; a text that wraps may want another height at the same width. Where nothing has
// changed, nothing is drawn. What has no size yet is laid out once it has one.
func Relayout(o fyne.CanvasObject) {
	if o == nil || !o.Visible() || o.Size().Width <= 0 {
		return
	}
	switch x := o.(type) {
	case *fyne.Container:
		if x.Layout != nil {
			x.Layout.Layout(x.Objects, x.Size())
		}
	case Drawn:
		x.Place(x.Size())
	}
	for _, c := range inside(o) {
		Relayout(c)
	}
}

// Walk visits everything that is shown below a root, with its place in the root.
func Walk(root fyne.CanvasObject, visit func(o fyne.CanvasObject, at fyne.Position)) {
	walk(root, fyne.Position{}, visit)
}

func walk(o fyne.CanvasObject, at fyne.Position, visit func(fyne.CanvasObject, fyne.Position)) {
	if o == nil || !o.Visible() {
		return
	}
	at = at.Add(o.Position())
	visit(o, at)
	for _, c := range inside(o) {
		walk(c, at, visit)
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
	for _, c := range inside(root) {
		if way := wayTo(c, o); way != nil {
			return append([]fyne.CanvasObject{root}, way...)
		}
	}
	return nil
}
