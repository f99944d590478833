//go:build !linux

package walk

func platformSystems() map[string]func(string) system { return map[string]func(string) system{} }
