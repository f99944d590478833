// Package e2e drives a real window on a display of its own: a fresh Xvfb, a fresh home, real clicks,
// keys and drops, pictures of what was seen. It is for tests on Linux and needs Xvfb, xdotool and
// ImageMagick's import.
//
// # The trace
//
// A test must know what the window shows and where, and must not guess pixels. So a window that
// finds the name of a file in the environment variable LOADLINE_TRACE appends one JSON object a
// line to it, each line in one write: the whole State below, every time that anything in it
// differs from the line before. Ten looks a second from the goroutine of the user interface are
// enough; nothing is written where nothing changed, and nothing at all without the variable.
//
//	{"state":"idle","page":"checks","theme":"light","source":"/tmp/x/archive","share":"/tmp/x/share",
//	 "scale":1,"at":{"check":[1100,90,132,44],"save":[1130,30,120,34]}}
//
// Fields (absent means empty, zero or false):
//
//	state    "idle" before the first run, "running", "done" after a whole run, "stopped" after
//	         one that was cut off, "error" where a run could not begin
//	page     "checks" or "files": what fills the window
//	verdict  after a run: "pass", "warn" or "fail"
//	checks   {"ID":"pass|warn|fail|unknown|waiting|running"} of all cards
//	open     ID of the card that is open, if any
//	source   text of the source field; share and prefix likewise
//	share
//	prefix
//	filter   text of the filter on the page of flagged files
//	rows     number of rows that the list of flagged files shows now, and total without filter
//	total
//	dialog   name of the dialog or menu that is in front: "save", "overwrite", "close", "keys", …
//	focus    name of the element that has the keyboard
//	saved    absolute path of the report that was written last, once it is whole on the disk
//	message  the text of the sentence last shown to the person: an error, a hint, a success
//	theme    "light" or "dark"
//	scale    pixels of the screen for one unit of the canvas
//	at       name of every element that is on screen now, to its rectangle [x, y, width, height] in
//	         pixels, from the top left corner of the window's content
//	lag_ms   the longest wait so far until the window did what was asked of it, up to the next 10
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
