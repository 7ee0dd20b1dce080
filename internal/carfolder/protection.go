package carfolder

import (
	"time"

	"hvproof/internal/deskcheck"
	"hvproof/internal/diag"
)

// Protection says on a day whether gloves and meters suit the car's voltage.
func (f *Folder) Protection(day time.Time) diag.List {
	return deskcheck.Protection(f.Vehicle, f.Instruments, day)
}

// Gloves says the same of the gloves alone.
func (f *Folder) Gloves(day time.Time) diag.List {
	return deskcheck.Protection(f.Vehicle, nil, day)
}
