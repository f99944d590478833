package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"
)

// need is what packages are installed for.
type need int

const (
	needWindow   need = iota // to build the window and to open it
	needTests                // what the tests run
	needPackages             // to make what people install
	needRelease              // to check what is released
	needWayland              // to build the window for Wayland
	needClips                // to make clips of every container
)

// A manager is a package manager of one family of systems.
type manager struct {
	name     string // what people call it
	program  string // its presence means that the system has it
	packages map[need][]string
	// missing returns those packages that are not installed.
	missing func(context.Context, []string) ([]string, error)
	install func([]string) []string // the command that installs them
	// refresh fetches the lists of packages; nil if install does that itself.
	refresh []string
	stale   func() bool
	env     []string
}

// Names of packages, checked on Debian 12; those of the other systems are from Fyne's own set-up
// guide and from memory.
var managers = []*manager{
	{
		name: "apt", program: "apt-get",
		packages: map[need][]string{
			needWindow: strings.Fields(`gcc libc6-dev pkg-config libgl-dev libx11-dev libxcursor-dev
				libxrandr-dev libxinerama-dev libxi-dev libxxf86vm-dev
				libgl1 libgl1-mesa-dri libx11-6 libxcursor1 libxrandr2 libxinerama1 libxi6`),
			needTests: strings.Fields(`git
				xvfb xdotool imagemagick
				user-mode-linux nfs-common nfs-kernel-server rpcbind kmod e2fsprogs iproute2
				mount util-linux dosfstools exfatprogs exfat-fuse ntfs-3g fuse3
				coreutils findutils diffutils acl attr pax openssl`),
			needPackages: strings.Fields(`git gcc-mingw-w64-x86-64`),
			needWayland:  strings.Fields(`libwayland-dev libxkbcommon-dev`),
			needClips:    strings.Fields(`ffmpeg sox libjpeg-turbo-progs perl-base util-linux`),
			needRelease: strings.Fields(`lintian desktop-file-utils appstream shared-mime-info rpm debootstrap mandoc zsh fish
				wine wine64 libxml2-utils icnsutils unzip bsdextrautils libglib2.0-bin gcc-mingw-w64-x86-64 weston xvfb xdotool imagemagick`),
		},
		missing: notInstalledDebian,
		install: func(p []string) []string {
			return append([]string{"apt-get", "install", "-y", "--no-install-recommends"}, p...)
		},
		refresh: []string{"apt-get", "update"},
		stale:   staleLists,
		env:     []string{"DEBIAN_FRONTEND=noninteractive"},
	},
	{
		name: "dnf", program: "dnf",
		packages: map[need][]string{
			needWindow: strings.Fields(`gcc pkgconf-pkg-config libX11-devel libXcursor-devel libXrandr-devel
				libXinerama-devel libXi-devel libXxf86vm-devel mesa-libGL-devel mesa-dri-drivers`),
			needTests: strings.Fields(`git xorg-x11-server-Xvfb xdotool ImageMagick e2fsprogs dosfstools
				exfatprogs ntfs-3g fuse3 acl attr coreutils findutils diffutils nfs-utils openssl`),
			needClips: strings.Fields(`ffmpeg-free sox libjpeg-turbo-utils perl-interpreter util-linux`),
		},
		missing: notInstalledRPM,
		install: func(p []string) []string {
			return append([]string{"dnf", "install", "-y", "--setopt=install_weak_deps=False"}, p...)
		},
	},
	{
		name: "pacman", program: "pacman",
		packages: map[need][]string{
			needWindow: strings.Fields(`gcc pkgconf libglvnd mesa libx11 libxcursor libxrandr libxinerama
				libxi libxxf86vm`),
			needTests: strings.Fields(`git xorg-server-xvfb xdotool imagemagick e2fsprogs dosfstools
				exfatprogs ntfs-3g fuse3 acl attr coreutils findutils diffutils nfs-utils openssl`),
			needClips: strings.Fields(`ffmpeg sox libjpeg-turbo perl util-linux`),
		},
		missing: notInstalledArch,
		install: func(p []string) []string { return append([]string{"pacman", "-S", "--needed", "--noconfirm"}, p...) },
	},
}

// install sees that everything for the given needs is there. It asks for a password only where
// something is missing and the person is not root.
func install(ctx context.Context, needs ...need) error {
	if len(needs) == 0 {
		return nil
	}
	slices.Sort(needs)
	needs = slices.Compact(needs)
	switch runtime.GOOS {
	case "darwin":
		return installXcode(ctx)
	case "linux":
	default:
		if _, err := exec.LookPath("gcc"); err == nil {
			return nil
		}
		return fmt.Errorf("on %s this cannot install anything: please install a C compiler named gcc "+
			"(for instance from MSYS2 on Windows) and start again", runtime.GOOS)
	}
	m := findManager(exec.LookPath)
	if m == nil {
		return installByHand(needs)
	}
	var wanted []string
	for _, n := range needs {
		if len(m.packages[n]) == 0 {
			return fmt.Errorf("what is released is made and checked on Debian: no packages of %s are known for that", m.name)
		}
		wanted = append(wanted, m.packages[n]...)
	}
	slices.Sort(wanted)
	wanted = slices.Compact(wanted)
	missing, err := m.missing(ctx, wanted)
	if err != nil {
		return fmt.Errorf("cannot ask %s what is installed: %w", m.name, err)
	}
	if len(missing) == 0 {
		return nil
	}
	fmt.Printf("Missing, to be installed with %s: %s\n", m.name, strings.Join(missing, " "))
	refreshed := false
	if m.stale != nil && m.stale() {
		if err := m.asRoot(ctx, m.refresh); err != nil {
			return err
		}
		refreshed = true
	}
	err = m.asRoot(ctx, m.install(missing))
	if err != nil && m.refresh != nil && !refreshed && ctx.Err() == nil {
		// Lists that are older than the archive name files that are gone.
		if err := m.asRoot(ctx, m.refresh); err != nil {
			return err
		}
		err = m.asRoot(ctx, m.install(missing))
	}
	return err
}

// findManager returns the first package manager whose program is there, nil if none is.
func findManager(look func(string) (string, error)) *manager {
	for _, m := range managers {
		if _, err := look(m.program); err == nil {
			return m
		}
	}
	return nil
}

// installByHand is for systems whose package manager we do not know: content if a compiler and
// the headers can be found, and otherwise a list of what to look for.
func installByHand(needs []need) error {
	var lacks []string
	for _, p := range []string{"gcc", "pkg-config"} {
		if _, err := exec.LookPath(p); err != nil {
			lacks = append(lacks, p)
		}
	}
	if len(lacks) == 0 && exec.Command("pkg-config", "gl", "x11", "xcursor", "xrandr", "xinerama", "xi", "xxf86vm").Run() != nil {
		lacks = append(lacks, "the headers of GL, X11, Xcursor, Xrandr, Xinerama, Xi and Xxf86vm")
	}
	if slices.Contains(needs, needTests) {
		for _, p := range []string{"Xvfb", "xdotool", "import"} {
			if _, err := exec.LookPath(p); err != nil {
				lacks = append(lacks, p)
			}
		}
	}
	if len(lacks) == 0 {
		return nil
	}
	return fmt.Errorf("no package manager that this knows (apt, dnf, pacman): please install %s and start again",
		strings.Join(lacks, ", "))
}

func installXcode(ctx context.Context) error {
	if exec.CommandContext(ctx, "xcode-select", "-p").Run() == nil {
		return nil
	}
	if err := run(ctx, "xcode-select", "--install"); err != nil {
		return err
	}
	return errors.New("the command line tools are being installed in a window of their own: start again when they are ready")
}

func (m *manager) asRoot(ctx context.Context, words []string) error {
	if os.Geteuid() != 0 {
		if _, err := exec.LookPath("sudo"); err != nil {
			return fmt.Errorf("there is no sudo here: please run this as root and start again: %s", line(words[0], words[1:]))
		}
		// env, because sudo does not hand on the environment.
		words = slices.Concat([]string{"sudo", "env"}, m.env, words)
	}
	fmt.Println("+", line(words[0], words[1:])) // not by run: sudo may ask for a password
	cmd := command(ctx, words[0], words[1:]...)
	cmd.Env = append(os.Environ(), m.env...)
	return failed(cmd.Run(), words[0], words[1:])
}

func notInstalledDebian(ctx context.Context, packages []string) ([]string, error) {
	args := append([]string{"-W", "-f", "${Package} ${db:Status-Status}\n"}, packages...)
	// Its status is 1 as soon as one package is unknown; the list is right all the same.
	out, err := exec.CommandContext(ctx, "dpkg-query", args...).Output()
	if exit := new(exec.ExitError); err != nil && !(errors.As(err, &exit) && exit.ExitCode() == 1) {
		return nil, err
	}
	return without(packages, string(out), "installed"), nil
}

// without returns the packages that have no line "NAME STATUS" in out.
func without(packages []string, out, status string) []string {
	have := map[string]bool{}
	for l := range strings.Lines(out) {
		if f := strings.Fields(l); len(f) == 2 && f[1] == status {
			have[f[0]] = true
		}
	}
	return slices.DeleteFunc(slices.Clone(packages), func(p string) bool { return have[p] })
}

func notInstalledRPM(ctx context.Context, packages []string) ([]string, error) {
	var missing []string
	for _, p := range packages {
		if exec.CommandContext(ctx, "rpm", "-q", "--whatprovides", p).Run() != nil {
			missing = append(missing, p)
		}
	}
	return missing, ctx.Err()
}

func notInstalledArch(ctx context.Context, packages []string) ([]string, error) {
	// Prints what is missing, with status 127 if anything is (pacman(8), deptest).
	out, err := exec.CommandContext(ctx, "pacman", append([]string{"-T"}, packages...)...).Output()
	if exit := new(exec.ExitError); err != nil && !(errors.As(err, &exit) && exit.ExitCode() == 127) {
		return nil, err
	}
	return strings.Fields(string(out)), nil
}

// staleLists tells whether apt's lists of packages are missing or older than a week.
func staleLists() bool { return stale("/var/lib/apt/lists", time.Now().AddDate(0, 0, -7)) }

func stale(folder string, since time.Time) bool {
	lists, _ := filepath.Glob(filepath.Join(folder, "*_Packages*"))
	if len(lists) == 0 {
		return true
	}
	// A list keeps the date of the archive; the folder "partial" has the date of the last update.
	info, err := os.Stat(filepath.Join(folder, "partial"))
	return err != nil || info.ModTime().Before(since)
}
