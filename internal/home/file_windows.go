package home

import "io/fs"

// checksMode says that mode bits do not tell who can read a file on this system.
const checksMode = false

func readableByOthers(fs.FileMode) bool { return false }

// syncFolder does nothing: Windows cannot synchronise a folder; its file
// systems write the names in their own journal.
func syncFolder(string) error { return nil }
