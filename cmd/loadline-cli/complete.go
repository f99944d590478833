package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
)

// shells are those that completion can be made for.
var shells = map[string]func(io.Writer, []described) error{"bash": completeBash, "zsh": completeZsh, "fish": completeFish}

// runCompletion prints what makes a shell complete commands, flags and paths.
func runCompletion(_ context.Context, args []string, stdout, stderr io.Writer) error {
	fs := newFlags("completion", "bash|zsh|fish", stderr)
	rest, err := parse(fs, args)
	if err != nil {
		return err
	}
	if len(rest) != 1 || shells[rest[0]] == nil {
		return misused(fs)
	}
	return shells[rest[0]](stdout, describe())
}

// wantsPath reports whether the value of a flag names a file or folder.
func (o option) wantsPath() bool { return slices.Contains(paths, o.value) }

// completeBash needs nothing but bash, of version 3.2 on: a Mac has that one, and no helpers.
func completeBash(w io.Writer, all []described) error {
	var s strings.Builder
	var names []string
	for _, c := range all {
		names = append(names, c.name)
	}
	fmt.Fprintf(&s, `# bash completion for loadline-cli
_loadline_cli_reply() {
	local word
	while IFS= read -r word; do
		COMPREPLY+=("$word")
	done < <(compgen "$@")
}
_loadline_cli() {
	local cur=${COMP_WORDS[COMP_CWORD]} prev=${COMP_WORDS[COMP_CWORD-1]} flags= values= words=
	COMPREPLY=()
	if [ "$COMP_CWORD" -eq 1 ]; then
		_loadline_cli_reply -W '%s help -version' -- "$cur"
		return
	fi
	case ${COMP_WORDS[1]} in
`, strings.Join(names, " "))
	for _, c := range all {
		var flags, values []string
		for _, o := range c.flags {
			flags = append(flags, "-"+o.name)
			if o.value != "" && !o.wantsPath() {
				values = append(values, "-"+o.name)
			}
		}
		words := ""
		if strings.Contains(c.arguments, "|") {
			words = strings.ReplaceAll(c.arguments, "|", " ")
		}
		fmt.Fprintf(&s, "\t%s) flags='%s' values='%s' words='%s' ;;\n", c.name, strings.Join(flags, " "), strings.Join(values, " "), words)
	}
	s.WriteString(`	*) return ;;
	esac
	case " $values " in *" ${prev/#--/-} "*) return ;; esac
	case $cur in
	-*) _loadline_cli_reply -W "$flags" -- "${cur/#--/-}" ;;
	*)
		if [ -n "$words" ]; then
			_loadline_cli_reply -W "$words" -- "$cur"
		else
			_loadline_cli_reply -f -- "$cur"
		fi ;;
	esac
}
complete -o filenames -F _loadline_cli loadline-cli
`)
	_, err := io.WriteString(w, s.String())
	return err
}

// completeZsh speaks the language of zsh's _arguments.
func completeZsh(w io.Writer, all []described) error {
	text := strings.NewReplacer(`'`, `'\''`, `[`, `\[`, `]`, `\]`, `:`, `\:`)
	var s strings.Builder
	s.WriteString("#compdef loadline-cli\n_loadline_cli() {\n\tlocal -a commands\n\tcommands=(\n")
	for _, c := range all {
		fmt.Fprintf(&s, "\t\t'%s:%s'\n", c.name, text.Replace(c.summary))
	}
	s.WriteString("\t)\n\tif (( CURRENT == 2 )); then\n\t\t_describe command commands\n\t\treturn\n\tfi\n\tlocal command=$words[2]\n\tshift words; (( CURRENT-- ))\n\tcase $command in\n")
	for _, c := range all {
		fmt.Fprintf(&s, "\t%s)\n\t\t_arguments", c.name)
		for _, o := range c.flags {
			fmt.Fprintf(&s, " \\\n\t\t\t'*-%s[%s]", o.name, text.Replace(o.text))
			switch {
			case o.wantsPath():
				fmt.Fprintf(&s, ":%s:_files", o.value)
			case o.value != "":
				fmt.Fprintf(&s, ":%s: ", o.value)
			}
			s.WriteString("'")
		}
		switch {
		case strings.Contains(c.arguments, "|"):
			fmt.Fprintf(&s, " \\\n\t\t\t'1:choice:(%s)'", strings.ReplaceAll(c.arguments, "|", " "))
		case c.arguments != "":
			s.WriteString(" \\\n\t\t\t'*:path:_files'")
		}
		s.WriteString(" ;;\n")
	}
	s.WriteString("\tesac\n}\n_loadline_cli \"$@\"\n")
	_, err := io.WriteString(w, s.String())
	return err
}

// completeFish gives every flag as an old-style option: one hyphen, a long name.
func completeFish(w io.Writer, all []described) error {
	quote := func(t string) string {
		return "'" + strings.NewReplacer(`\`, `\\`, `'`, `\'`).Replace(t) + "'"
	}
	var s strings.Builder
	s.WriteString("# fish completion for loadline-cli\n")
	for _, c := range all {
		fmt.Fprintf(&s, "complete -c loadline-cli -n __fish_use_subcommand -f -a %s -d %s\n", c.name, quote(c.summary))
	}
	for _, c := range all {
		on := quote("__fish_seen_subcommand_from " + c.name)
		if strings.Contains(c.arguments, "|") {
			fmt.Fprintf(&s, "complete -c loadline-cli -n %s -f -a %s\n", on, quote(strings.ReplaceAll(c.arguments, "|", " ")))
		}
		for _, o := range c.flags {
			// -r: a value must follow; -F: it may be a path; -f: it is none.
			value := ""
			switch {
			case o.wantsPath():
				value = " -r -F"
			case o.value != "":
				value = " -r -f"
			}
			spelled := "-o"
			if len(o.name) == 1 {
				spelled = "-s"
			}
			fmt.Fprintf(&s, "complete -c loadline-cli -n %s %s %s%s -d %s\n", on, spelled, o.name, value, quote(o.text))
		}
	}
	_, err := io.WriteString(w, s.String())
	return err
}
