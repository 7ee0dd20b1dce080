package plan

// Personal reports whether the file is about people alone: names and ways to
// reach them. No limit rests on it, and the log, which forgets nothing, does
// not carry it; the plan names its digest.
func (f File) Personal() bool { return f.Name == "people.yaml" }
