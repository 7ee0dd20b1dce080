package main

import (
	"hvproof/internal/entry"
)

// formats gives the specifications of the file formats that help prints.
func formats() map[string]string {
	return map[string]string{
		"log": entry.Specification(),
	}
}
