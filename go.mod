module loadline

go 1.26.0

require (
	fyne.io/fyne/v2 v2.7.4 // indirect
	github.com/BurntSushi/toml v1.5.0 // indirect
	github.com/adrg/xdg v0.5.3 // indirect
	github.com/dustin/go-humanize v1.1.0 // indirect
	github.com/google/go-cmp v0.7.0 // indirect
	github.com/jezek/xgb v1.1.1 // indirect
	github.com/rogpeppe/go-internal v1.16.0 // indirect
	github.com/shirou/gopsutil/v3 v3.24.5 // indirect
	golang.org/x/exp/typeparams v0.0.0-20231108232855-2478ac86f678 // indirect
	golang.org/x/mod v0.42.0 // indirect
	golang.org/x/sync v0.25.0 // indirect
	golang.org/x/sys v0.50.0 // indirect
	golang.org/x/text v0.44.0 // indirect
	golang.org/x/tools v0.52.0 // indirect
	honnef.co/go/tools v0.8.2 // indirect
	mvdan.cc/gofumpt v0.12.0 // indirect
	pgregory.net/rapid v1.3.0 // indirect
)

tool (
	honnef.co/go/tools/cmd/staticcheck
	mvdan.cc/gofumpt
)
