package bay

import (
	"errors"
	"net/http"

	"hvproof/internal/diag"
)

// faultOf words an error of the program: its message and hint, and the status
// of its class.
func faultOf(err error) *fault {
	f := &fault{status: http.StatusInternalServerError, message: err.Error(), english: true}
	var e *diag.Error
	if errors.As(err, &e) {
		f.hint = e.Hint
	}
	switch diag.ClassOf(err) {
	case diag.ClassNo, diag.ClassStopped:
		f.status = http.StatusConflict
	case diag.ClassBadInput:
		f.status = http.StatusUnprocessableEntity
	}
	return f
}
