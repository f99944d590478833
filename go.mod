module loadline

go 1.26.0

require (
	fyne.io/fyne/v2 v2.7.4
	github.com/dustin/go-humanize v1.1.0
	github.com/google/go-cmp v0.7.0
	github.com/jezek/xgb v1.1.1
	github.com/shirou/gopsutil/v3 v3.24.5
	golang.org/x/sys v0.50.0
	golang.org/x/text v0.44.0
)

require (
	github.com/BurntSushi/toml v1.5.0 // indirect
	github.com/adrg/xdg v0.5.3 // indirect
	github.com/fredbi/uri v1.1.1 // indirect
	github.com/fyne-io/oksvg v0.2.0 // indirect
	github.com/go-text/render v0.2.1 // indirect
	github.com/go-text/typesetting v0.3.4 // indirect
	github.com/jeandeaual/go-locale v0.0.0-20250612000132-0ef82f21eade // indirect
	github.com/mattn/go-runewidth v0.0.17 // indirect
	github.com/nicksnyder/go-i18n/v2 v2.5.1 // indirect
	github.com/rivo/uniseg v0.2.0 // indirect
	github.com/rogpeppe/go-internal v1.16.0 // indirect
	github.com/srwiley/oksvg v0.0.0-20221011165216-be6e8873101c // indirect
	github.com/srwiley/rasterx v0.0.0-20220730225603-2ab79fcdd4ef // indirect
	github.com/yuin/goldmark v1.7.8 // indirect
	golang.org/x/exp/typeparams v0.0.0-20231108232855-2478ac86f678 // indirect
	golang.org/x/image v0.24.0 // indirect
	golang.org/x/mod v0.42.0 // indirect
	golang.org/x/net v0.61.0 // indirect
	golang.org/x/sync v0.25.0 // indirect
	golang.org/x/term v0.48.0 // indirect
	golang.org/x/tools v0.52.0 // indirect
	honnef.co/go/tools v0.8.2 // indirect
	mvdan.cc/gofumpt v0.12.0 // indirect
	pgregory.net/rapid v1.3.0 // indirect
)

tool (
	honnef.co/go/tools/cmd/staticcheck
	mvdan.cc/gofumpt
)
