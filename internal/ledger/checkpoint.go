package ledger

import (
	"bytes"
	"crypto/ed25519"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/entry"
)

// A Checkpoint is the signed head of a log (C2SP tlog-checkpoint): the root
// of the tree over its first Size entries.
type Checkpoint struct {
	Origin string
	Size   int64
	Root   tlog.Hash
	note   Note
}

// SignCheckpoint prints and signs a checkpoint with the log's key, whose name
// must be the origin.
func SignCheckpoint(origin string, size int64, root tlog.Hash, logKey note.Signer) ([]byte, error) {
	if logKey.Name() != origin {
		return nil, fmt.Errorf("the log's key is named %s, the log %s", logKey.Name(), origin)
	}
	return note.Sign(&note.Note{Text: checkpointText(origin, size, root)}, logKey)
}

func checkpointText(origin string, size int64, root tlog.Hash) string {
	return fmt.Sprintf("%s\n%d\n%s\n", origin, size, root)
}

// ParseCheckpoint takes a checkpoint apart, accepting only what
// [SignCheckpoint] prints. The signature is not verified: see
// [Checkpoint.Verify].
func ParseCheckpoint(raw []byte) (Checkpoint, error) {
	n, err := OpenNote(raw)
	if err != nil {
		return Checkpoint{}, err
	}
	lines := strings.Split(string(n.Text), "\n")
	if len(lines) != 4 {
		return Checkpoint{}, errors.New("not a checkpoint: three lines, origin, size and root")
	}
	c := Checkpoint{Origin: lines[0], note: n}
	if _, err := entry.ParseOrigin(c.Origin); err != nil {
		return Checkpoint{}, err
	}
	if n.Signer != c.Origin {
		return Checkpoint{}, fmt.Errorf("the checkpoint of %s is signed in the name of %.80s", c.Origin, n.Signer)
	}
	if c.Size, err = strconv.ParseInt(lines[1], 10, 64); err != nil || c.Size < 1 {
		return Checkpoint{}, fmt.Errorf("%.30q is not the size of a log", lines[1])
	}
	root, err := entry.ParseHash(lines[2])
	if err != nil {
		return Checkpoint{}, err
	}
	c.Root = root
	if !bytes.Equal(n.Text, []byte(checkpointText(c.Origin, c.Size, c.Root))) {
		return Checkpoint{}, errors.New("the checkpoint is not spelled as it would be printed")
	}
	return c, nil
}

// Verify reports whether the checkpoint carries a good signature of the log's
// key.
func (c Checkpoint) Verify(key ed25519.PublicKey) bool { return c.note.Verify(key) }
