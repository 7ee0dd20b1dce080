package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"hvproof/internal/diag"
	"hvproof/store"
)

// noCopy is what a permit says where no second copy was written.
const noCopy = "none"

// onOther ends what a permit says of a copy that is known to be on another
// device.
const onOther = ", on another device"

// placeWords are the ends for all places.
var placeWords = map[store.Place]string{
	store.OtherDevice:  onOther,
	store.SameDevice:   ", ON THE SAME DEVICE as the log: no second copy",
	store.InMemory:     ", IN MEMORY that is gone with the power: no second copy",
	store.UnknownPlace: ", whether on another device is not known",
}

// writeCopy writes the log's checkpoint to a folder on a second device, and
// says where it is and what is known of the device.
func (s *session) writeCopy(dir string) (string, error) {
	if dir == "" {
		return noCopy, nil
	}
	whole, err := realPath(dir)
	if err != nil {
		return "", diag.Bad("name a folder that exists, on another device", "second copy: %v", err)
	}
	root, err := realPath(s.root)
	if err != nil {
		return "", diag.Machine("", "%v", err)
	}
	if rel, err := filepath.Rel(root, whole); err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator)) {
		return "", diag.Bad("name a folder on another device", "%s lies in the car folder: that is no second copy", dir)
	}
	place, err := store.PlaceOf(whole, root)
	if err != nil {
		return "", diag.Machine("", "second copy: %v", err)
	}
	name := filepath.Join(whole, strings.ReplaceAll(s.origin, "/", "_")+".checkpoint")
	if err := replaceFile(name, s.log.Checkpoint()); err != nil {
		return "", diag.Machine("", "second copy: %v", err)
	}
	if place != store.OtherDevice {
		s.app.warnf("second copy: %s%s", whole, placeWords[place])
	}
	return fmt.Sprintf("%s, at %d entries%s", name, s.entries, placeWords[place]), nil
}

// realPath gives a folder's path without links: a link into the car folder,
// or back to the same disk, is seen.
func realPath(dir string) (string, error) {
	whole, err := filepath.EvalSymlinks(dir)
	if err != nil {
		return "", err
	}
	return filepath.Abs(whole)
}

// replaceFile puts bytes in the place of a file, durably: a stick is pulled out
// as soon as the command is done.
func replaceFile(name string, data []byte) error {
	temporary := name + ".new"
	f, err := os.OpenFile(temporary, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o644)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return errors.Join(err, os.Remove(temporary))
	}
	if err := os.Rename(temporary, name); err != nil {
		return err
	}
	folder, err := os.Open(filepath.Dir(name))
	if err != nil {
		return err
	}
	_ = folder.Sync() // not every file system knows it
	return folder.Close()
}
