// Package e2e drives a real window on a display of its own: a fresh Xvfb, a fresh home, real clicks,
// keys and drops, pictures of what was seen. It is for tests on Linux and needs Xvfb, xdotool and
// ImageMagick's import.
//
// What the window shows, and where, it tells in its trace: see package trace.
//
// # Names of elements
//
//	source, source-choose   text field of the source, or while the set-up is folded the line that stands
//	                        for it; the button that opens the folder dialog
//	share, share-choose     the same of the share
//	prefix                  text field: folder on the share
//	columns, disk           text fields after arrival: columns of the listing, folder of the disk
//	recheck                 leads from the arrival to the recheck of a copy, and back
//	sample                  text field there: per cent of the files to read
//	read-all                the control on the open card that reads the whole disk
//	check, stop             Check before copying; Stop (whichever is shown)
//	save, theme, keys       Save report; light or dark; list of shortcuts
//	verdict                 the box with the verdict
//	card:ID                 the head of a card, if it is in view: "card:name-length"
//	files:ID                the control on that card which opens its flagged files
//	files                   the control that opens all flagged files, if there is one
//	back                    leaves the page of flagged files
//	filter                  text field on that page
//	rows                    the list on that page
//	dialog-path             text field of the dialog in front (save: holds a proposed path)
//	dialog-yes, dialog-no   the buttons of the dialog in front
//
// An element may carry further names; more may come. One that cannot be used now may be absent.
//
// # Keys that tests rely on
//
//	Ctrl+R  check        Ctrl+S  save the report   Ctrl+F  to the filter (opens all flagged files)
//	Escape  stop a run, close a dialog, leave the page of flagged files
//	Tab, Shift+Tab, Return and Space as everywhere
//
// Ctrl+S opens the dialog "save" with dialog-path focused and a proposed path in it; Return saves.
// An existing file brings up "overwrite". A folder dropped on the window becomes the source, or the
// share where it is dropped on the share. WM_DELETE_WINDOW while a run goes on asks first ("close").
// Without a home full of settings (fresh XDG folders) a window started with -demo shows the demo's
// source and share and waits for Check.
package e2e

import "loadline/gui/trace"

// State is one line of the trace: what the window shows.
type State = trace.State
