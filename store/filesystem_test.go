package store

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestNoWarningOnALocalDisk(t *testing.T) {
	s := openTest(t, t.TempDir())
	assert.Empty(t, s.Warnings())
	assert.Empty(t, networkWarning("/nowhere/at/all"))
	assert.Empty(t, warningFor("/cars/finch", ""))
	assert.Equal(t, "/cars/finch: lies on a network share; locks and durable writes cannot be relied on there, keep the car folder on a disk of this computer",
		warningFor("/cars/finch", "a network share"))
}
