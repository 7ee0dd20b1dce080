package home

import "io/fs"

// readableByOthers cannot tell: mode bits say nothing on this system.
func readableByOthers(fs.FileMode) bool { return false }

// syncFolder does nothing: Windows cannot synchronise a folder; its file
// systems write the names in their own journal.
func syncFolder(string) error { return nil }
