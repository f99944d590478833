// Package gui is the window: choosing source and share, the cards, the flagged files, the repairs.
// It renders what checks reports and computes no verdict of its own; its widgets are those of kit.
// Nothing here imports fyne/app, so that its tests need neither a display nor a C compiler.
package gui
