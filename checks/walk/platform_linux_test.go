package walk

// platformSystems are the ways the walk falls back to on old kernels and in tight places.
func platformSystems() map[string]func(string) system {
	return map[string]func(string) system{
		"without statx": func(root string) system {
			s := newSystem(root).(*linux)
			s.oldStat.Store(true)
			return s
		},
		"holding no folder open": func(root string) system {
			s := newSystem(root).(*linux)
			s.mayHold = 0
			return s
		},
		"holding two folders open": func(root string) system {
			s := newSystem(root).(*linux)
			s.mayHold = 2
			return s
		},
	}
}
