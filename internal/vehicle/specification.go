package vehicle

import _ "embed"

//go:embed doc.go
var doc string

// Specification gives this package's comment as it stands in the source: the
// format that it reads. The caller takes the comment marks off.
func Specification() string { return doc }
