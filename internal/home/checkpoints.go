package home

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"

	"hvproof/internal/diag"
)

// ErrBackwards says that a checkpoint is older than, or contradicts, the one
// that this device remembers: the log lost entries or was rewritten.
var ErrBackwards = errors.New("the log is behind what this device remembers of it")

// Remember stores the last checkpoint of a log, after its entries are durable.
// A checkpoint with fewer entries, or with as many and another root, is refused
// with [ErrBackwards] and the older one stays. The checkpoint is a C2SP
// tlog-checkpoint; its signatures are not verified here.
func (h *Home) Remember(origin string, checkpoint []byte) error {
	path, now, err := h.checkpointFile(origin, checkpoint)
	if err != nil {
		return err
	}
	before, err := h.Remembered(origin)
	if err != nil {
		return err
	}
	if bytes.Equal(before, checkpoint) {
		return nil
	}
	if before != nil {
		then, err := parseHead(before)
		if err != nil {
			return badCheckpoint(path, err)
		}
		if now.size < then.size || now.size == then.size && now.root != then.root {
			return &diag.Error{Class: diag.ClassNo, Err: ErrBackwards,
				Message: fmt.Sprintf("%s: %d entries with root %s here, %d entries with root %s remembered",
					origin, now.size, now.root, then.size, then.root),
				Hint: "a disk or a backup went back in time: find the newer log, or let a releaser sign the loss"}
		}
	}
	return h.store(path, checkpoint)
}

// RememberLoss replaces what is remembered of a log by an earlier checkpoint. It
// is called only after a releaser's `loss` entry, which names the checkpoint
// remembered until then, is durable.
func (h *Home) RememberLoss(origin string, checkpoint []byte) error {
	path, _, err := h.checkpointFile(origin, checkpoint)
	if err != nil {
		return err
	}
	return h.store(path, checkpoint)
}

// Remembered returns the last checkpoint stored for a log, nil if there is none.
func (h *Home) Remembered(origin string) ([]byte, error) {
	name, err := fileName("checkpoint-", origin, "")
	if err != nil {
		return nil, err
	}
	path := filepath.Join(h.dir, "checkpoints", name)
	checkpoint, err := readRegular(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, machine(err, "reading %s", path)
	}
	if head, err := parseHead(checkpoint); err != nil {
		return nil, badCheckpoint(path, err)
	} else if head.origin != origin {
		return nil, badCheckpoint(path, fmt.Errorf("is a checkpoint of %q", head.origin))
	}
	return checkpoint, nil
}

func (h *Home) store(path string, checkpoint []byte) error {
	if err := replace(path, checkpoint, privateMode); err != nil {
		return machine(err, "writing %s", path)
	}
	return nil
}

// checkpointFile returns the path and the head of a checkpoint of that origin.
func (h *Home) checkpointFile(origin string, checkpoint []byte) (string, head, error) {
	name, err := fileName("checkpoint-", origin, "")
	if err != nil {
		return "", head{}, err
	}
	c, err := parseHead(checkpoint)
	if err != nil {
		return "", head{}, machine(err, "checkpoint of %s", origin)
	}
	if c.origin != origin {
		return "", head{}, diag.Machine("", "checkpoint of %s: names the log %q", origin, c.origin)
	}
	return filepath.Join(h.dir, "checkpoints", name), c, nil
}

func badCheckpoint(path string, err error) error {
	return &diag.Error{Class: diag.ClassMachine, Message: path, Err: err,
		Hint: "without this file a roll-back of the log cannot be seen on this device; put it back from a copy, or move it away knowing that"}
}

// head is what the first three lines of a checkpoint say
// (C2SP tlog-checkpoint: origin, size, root).
type head struct {
	origin string
	size   int64
	root   string // base64 of 32 bytes
}

// parseHead reads the first three lines of a checkpoint. Each is accepted in its
// one spelling only; extension lines and signatures are not looked at.
func parseHead(checkpoint []byte) (head, error) {
	lines := strings.SplitN(string(checkpoint), "\n", 4)
	if len(lines) < 4 || lines[0] == "" {
		return head{}, errors.New("is not a checkpoint: three lines wanted, origin, size and root")
	}
	size, err := strconv.ParseInt(lines[1], 10, 64)
	if err != nil || size < 0 || strconv.FormatInt(size, 10) != lines[1] {
		return head{}, fmt.Errorf("is not a checkpoint: the size %.40q is not a whole number", lines[1])
	}
	root, err := base64.StdEncoding.Strict().DecodeString(lines[2])
	if err != nil || len(root) != 32 || base64.StdEncoding.EncodeToString(root) != lines[2] {
		return head{}, fmt.Errorf("is not a checkpoint: the root %.60q is not base64 of 32 bytes", lines[2])
	}
	return head{origin: lines[0], size: size, root: lines[2]}, nil
}
