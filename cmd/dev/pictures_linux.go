package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"loadline/cmd/dev/e2e"
)

// picturesDir holds the pictures of the README.
const picturesDir = "assets/pictures"

// pictures makes the README's pictures: each stage of the demo after its check, light and dark, 1280 by 800.
func pictures(ctx context.Context, args []string) error {
	if len(args) > 0 {
		return errors.New("pictures takes no arguments")
	}
	if err := install(ctx, needWindow, needTests); err != nil {
		return err
	}
	program, err := buildWindow(ctx)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(picturesDir, 0o755); err != nil {
		return err
	}
	return e2e.Run("pictures", func(t e2e.T) { takePictures(ctx, t, program) })
}

func takePictures(ctx context.Context, t e2e.T, program string) {
	w := e2e.NewDisplay(t, 1280, 800).Open(program, "-demo")
	w.Wait("the demo", func(s e2e.State) bool { return s.State == "idle" && s.Source != "" })
	stages := []struct{ name, key string }{{"before", "ctrl+1"}, {"after", "ctrl+2"}, {"arrival", "ctrl+3"}}
	for _, s := range stages {
		w.Key(s.key)
		w.Wait("stage "+s.name, func(s e2e.State) bool { return s.State == "idle" })
		w.Settle()
		w.Key("ctrl+r")
		w.Wait("a verdict of stage "+s.name, func(s e2e.State) bool { return s.State == "done" })
		w.Key("Escape") // what is said at the foot would hide cards
		w.Settle()
	}
	w.ClickAt(6, 640) // the pointer rests where nothing answers to it
	for range 2 {
		theme := w.Settle().Theme
		for _, s := range stages {
			w.Key(s.key)
			w.Settle()
			file := filepath.Join(picturesDir, s.name+"-"+theme+".png")
			// So few colours are enough for flat areas and the edges of letters, and halve the file.
			if err := run(ctx, "convert", w.Shot(s.name+"-"+theme), "-strip", "-dither", "None", "-colors", "64", "-define", "png:compression-level=9", "PNG8:"+file); err != nil {
				t.Fatal(err)
			}
			if info, err := os.Stat(file); err == nil {
				fmt.Printf("%s, %d bytes\n", file, info.Size())
			}
		}
		w.Key("ctrl+d")
		w.Wait("the other theme", func(s e2e.State) bool { return s.Theme != theme })
	}
	w.AskClose()
	w.Ended()
}
