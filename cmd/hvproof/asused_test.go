package main

import (
	"archive/zip"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/plan"
)

// TestFilesAsUsed changes a file between two runs and again afterwards: the
// bundle has it as each of the runs used it, and as it is.
func TestFilesAsUsed(t *testing.T) {
	c := newTriedCar(t)
	file := filepath.Join(c.dir, "procedures", "bench.yaml")
	versions := [][]byte{bytesOf(t, file)}
	for _, word := range []string{"second", "third"} {
		b := slices.Concat(versions[0], []byte("# the "+word+" version\n"))
		require.NoError(t, os.WriteFile(file, b, 0o600))
		versions = append(versions, b)
		if word == "second" {
			c.bench()
		}
	}
	packed := c.bundled()
	code, out, errs := elsewhere(t, "verify", "--json", packed)
	require.Equal(t, 0, code, out+errs)
	assert.NotContains(t, out, "file-not-carried")

	z, err := zip.OpenReader(packed)
	require.NoError(t, err)
	defer z.Close()
	members := map[string][]byte{}
	for _, f := range z.File {
		r, err := f.Open()
		require.NoError(t, err)
		members[f.Name], err = io.ReadAll(r)
		require.NoError(t, err)
	}
	name := func(b []byte) string { return fmt.Sprintf("blobs/%x", sha256.Sum256(b)) }
	assert.Equal(t, versions[0], members[name(versions[0])], "as the first run used it")
	assert.Equal(t, versions[1], members[name(versions[1])], "as the second run used it")
	assert.Equal(t, versions[2], members["car/procedures/bench.yaml"], "as it is")
	assert.NotContains(t, members, name(versions[2]), "no run used that")
	assert.NotContains(t, members, name(bytesOf(t, filepath.Join(c.dir, "people.yaml"))), "the log does not keep people's contacts")

	runs := 0
	for member, data := range members {
		p, err := plan.Parse(data)
		if err != nil {
			continue
		}
		runs++
		require.Greater(t, len(p.Files), 3)
		for _, f := range p.Files {
			if f.Name == "people.yaml" {
				continue
			}
			assert.Contains(t, members, "blobs/"+f.Digest, "%s of the plan %s", f.Name, member)
		}
	}
	assert.Equal(t, 2, runs, "plans in the bundle")
}

func bytesOf(t *testing.T, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(name)
	require.NoError(t, err)
	return b
}

// TestFileChangedMeanwhile: a plan that names what nobody has is not begun.
func TestFileChangedMeanwhile(t *testing.T) {
	c := newTriedCar(t)
	env := func(name string) string { return map[string]string{"HVPROOF_CONFIG": c.config}[name] }
	a := &app{dir: c.dir, out: io.Discard, err: io.Discard, env: env, now: time.Now}
	s, err := a.write(t.Context())
	require.NoError(t, err)
	defer s.close()
	sum := sha256.Sum256(bytesOf(t, filepath.Join(c.dir, "vehicle.yaml")))
	was := plan.File{Name: "vehicle.yaml", Origin: plan.Own, Digest: hex.EncodeToString(sum[:])}
	got, err := s.asUsed([]plan.File{was, {Name: "people.yaml", Origin: plan.Own, Digest: was.Digest}})
	require.NoError(t, err)
	assert.Equal(t, [][32]byte{sum}, got)
	require.NoError(t, os.WriteFile(filepath.Join(c.dir, "vehicle.yaml"), []byte("format: 1\nname: Wren\n"), 0o600))
	_, err = s.asUsed([]plan.File{was})
	assert.ErrorContains(t, err, "vehicle.yaml was changed while the run was being prepared")
	require.NoError(t, os.Remove(filepath.Join(c.dir, "vehicle.yaml")))
	_, err = s.asUsed([]plan.File{was})
	assert.Error(t, err)
}
