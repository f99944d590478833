package pack

import (
	"bytes"
	"embed"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"html"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/extension"
	gparser "github.com/yuin/goldmark/parser"
)

// texts are what is written by hand. What stands in them between @ is put in.
//
//go:embed texts
var texts embed.FS

func text(name string) []byte {
	b, err := texts.ReadFile("texts/" + name)
	if err != nil {
		panic(err) // it is embedded
	}
	return b
}

// desktopEntry is what puts the window into the menu; texts/loadline.desktop names its keys.
func desktopEntry() []byte { return text(program + ".desktop") }

// metainfo is what a software centre shows.
func metainfo(when time.Time) []byte {
	return []byte(strings.NewReplacer("@ID@", componentID, "@VERSION@", version, "@DATE@", when.UTC().Format(time.DateOnly),
		"@SUMMARY@", html.EscapeString(summary)).Replace(string(text("metainfo.xml"))))
}

// A windowFlag is one flag of the window.
type windowFlag struct{ name, text string }

// windowFlags reads the flags of the window from its source: asking the program would need a build
// with cgo and a display.
func windowFlags(source string) ([]windowFlag, error) {
	b, err := os.ReadFile(source)
	if err != nil {
		return nil, err
	}
	parsed, err := parser.ParseFile(token.NewFileSet(), source, b, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	var flags []windowFlag
	ast.Inspect(parsed, func(n ast.Node) bool {
		call, ok := n.(*ast.CallExpr)
		if !ok || len(call.Args) != 4 {
			return true
		}
		if sel, ok := call.Fun.(*ast.SelectorExpr); !ok || sel.Sel.Name != "BoolVar" {
			return true
		}
		var words []string
		for _, i := range []int{1, 3} {
			if l, ok := call.Args[i].(*ast.BasicLit); ok && l.Kind == token.STRING {
				if s, err := strconv.Unquote(l.Value); err == nil {
					words = append(words, s)
				}
			}
		}
		if len(words) == 2 {
			flags = append(flags, windowFlag{words[0], words[1]})
		}
		return true
	})
	if len(flags) == 0 {
		return nil, fmt.Errorf("%s defines no flag of the window that could be told in its manual", source)
	}
	return flags, nil
}

// windowManual is the manual page of the window.
func windowManual(source string, when time.Time) ([]byte, error) {
	flags, err := windowFlags(source)
	if err != nil {
		return nil, err
	}
	var list strings.Builder
	for _, f := range flags {
		fmt.Fprintf(&list, ".TP\n.B \\-%s\n%s.\n", strings.ReplaceAll(f.name, "-", `\-`), strings.ToUpper(f.text[:1])+strings.ReplaceAll(f.text[1:], "-", `\-`))
	}
	return []byte(strings.NewReplacer("@DATE@", when.UTC().Format(time.DateOnly), "@VERSION@", version, "@FLAGS@\n", list.String()).
		Replace(string(text("loadline.1")))), nil
}

// handbook is the handbook as one page for a browser.
func handbook(source string) ([]byte, error) {
	b, err := os.ReadFile(source)
	if err != nil {
		return nil, err
	}
	var body bytes.Buffer
	if err := goldmark.New(goldmark.WithExtensions(extension.GFM), goldmark.WithParserOptions(gparser.WithAutoHeadingID())).Convert(b, &body); err != nil {
		return nil, err
	}
	return []byte(strings.NewReplacer("@VERSION@", version, "@BODY@\n", body.String()).Replace(string(text("handbook.html")))), nil
}
