package names

// Join joins a folder and a name as they are; the folder is "" where it is the source itself.
func Join(folder, name string) string {
	if folder == "" {
		return name
	}
	return folder + "/" + name
}
