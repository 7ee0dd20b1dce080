package store

// NotRecognised says what [Store.Warnings] cannot see.
const NotRecognised = "a folder that some program copies to other devices by itself is not recognised: keep the car folder out of such folders, they can copy half of a change"

// networkWarning returns a warning if dir lies on a file system that is shared
// over a network, or may be: there SQLite's locks and the synchronising of a
// write can fail without a word. It is empty otherwise, also where the kind of
// file system cannot be asked.
func networkWarning(dir string) string { return warningFor(dir, networkFileSystem(dir)) }

func warningFor(dir, kind string) string {
	if kind == "" {
		return ""
	}
	return dir + ": lies on " + kind + "; locks and durable writes cannot be relied on there, keep the car folder on a disk of this computer"
}
