package main

import (
	"crypto/rand"
	"database/sql"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/entry"
	"hvproof/internal/home"
	"hvproof/internal/ledger"

	_ "modernc.org/sqlite"
)

// A raw log is what the database of a car folder says, free to be tampered
// with. hashes are those of the tree, in the order of their indexes.
type rawLog struct {
	origin, checkpoint string
	notes              []string
	hashes             [][]byte // beside each entry
}

// sql runs statements on the database, past the triggers that guard it
// against slips.
func (c *triedCar) sql(statements ...string) {
	c.t.Helper()
	db := c.database()
	defer db.Close()
	for _, s := range statements {
		_, err := db.Exec(s)
		require.NoError(c.t, err, s)
	}
}

func (c *triedCar) database() *sql.DB {
	c.t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(c.dir, "hvproof.db"))
	require.NoError(c.t, err)
	db.SetMaxOpenConns(1)
	for _, trigger := range []string{"entry_next", "entry_stays", "entry_kept", "log_begins", "log_grows", "log_kept"} {
		_, err := db.Exec("DROP TRIGGER IF EXISTS " + trigger)
		require.NoError(c.t, err)
	}
	return db
}

func (c *triedCar) read() rawLog {
	c.t.Helper()
	db := c.database()
	defer db.Close()
	var r rawLog
	require.NoError(c.t, db.QueryRow(`SELECT origin, checkpoint FROM log`).Scan(&r.origin, &r.checkpoint))
	rows, err := db.Query(`SELECT note, hashes FROM entry ORDER BY "index"`)
	require.NoError(c.t, err)
	defer rows.Close()
	for rows.Next() {
		var text string
		var hashes []byte
		require.NoError(c.t, rows.Scan(&text, &hashes))
		r.notes, r.hashes = append(r.notes, text), append(r.hashes, hashes)
	}
	require.NoError(c.t, rows.Err())
	require.NotEmpty(c.t, r.notes)
	return r
}

// write puts a log in the place of the one that is there.
func (c *triedCar) write(r rawLog) {
	c.t.Helper()
	db := c.database()
	defer db.Close()
	_, err := db.Exec(`DELETE FROM entry`)
	require.NoError(c.t, err)
	_, err = db.Exec(`UPDATE log SET size = ?, checkpoint = ?`, len(r.notes), r.checkpoint)
	require.NoError(c.t, err)
	for i, text := range r.notes {
		_, err := db.Exec(`INSERT INTO entry VALUES (?, ?, ?, ?)`, r.origin, i, r.hashes[i], text)
		require.NoError(c.t, err)
	}
}

// find gives the index of the first entry of a kind.
func (r *rawLog) find(kind entry.Kind) int {
	for i, text := range r.notes {
		if strings.Contains(text, "\nkind: "+string(kind)+"\n") {
			return i
		}
	}
	panic("the log has no " + string(kind))
}

// rehash computes the hashes of the tree anew.
func (r *rawLog) rehash() {
	r.hashes = nil
	var all []tlog.Hash
	for i, text := range r.notes {
		own, err := tlog.StoredHashes(int64(i), []byte(text), reading(&all))
		if err != nil {
			panic(err)
		}
		all = append(all, own...)
		var beside []byte
		for _, h := range own {
			beside = append(beside, h[:]...)
		}
		r.hashes = append(r.hashes, beside)
	}
}

func reading(all *[]tlog.Hash) tlog.HashReader {
	return tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		var out []tlog.Hash
		for _, i := range indexes {
			out = append(out, (*all)[i])
		}
		return out, nil
	})
}

// root gives the tree's root over the first n entries.
func (r *rawLog) root(n int) tlog.Hash {
	var all []tlog.Hash
	for i := range n {
		own, err := tlog.StoredHashes(int64(i), []byte(r.notes[i]), reading(&all))
		if err != nil {
			panic(err)
		}
		all = append(all, own...)
	}
	root, err := tlog.TreeHash(int64(n), reading(&all))
	if err != nil {
		panic(err)
	}
	return root
}

// sign signs the checkpoint anew, as somebody who has the device could.
func (r *rawLog) sign(c *triedCar) {
	c.t.Helper()
	h, err := home.Open(c.config, rand.Reader)
	require.NoError(c.t, err)
	key, err := h.LogKey(r.origin)
	require.NoError(c.t, err)
	signer, err := ledger.NewSigner(r.origin, key)
	require.NoError(c.t, err)
	checkpoint, err := ledger.SignCheckpoint(r.origin, int64(len(r.notes)), r.root(len(r.notes)), signer)
	require.NoError(c.t, err)
	r.checkpoint = string(checkpoint)
}

// signed signs an entry with a person's own key.
func (c *triedCar) signed(e entry.Entry, person string) string {
	c.t.Helper()
	key, err := home.OpenPractice(filepath.Join(c.dir, practiceKeys), rand.Reader).PersonKey(person)
	require.NoError(c.t, err)
	signer, err := ledger.NewSigner(person, key)
	require.NoError(c.t, err)
	text, err := entry.Marshal(e)
	require.NoError(c.t, err)
	raw, err := note.Sign(&note.Note{Text: string(text)}, signer)
	require.NoError(c.t, err)
	return string(raw)
}

// forge appends an entry past everything that the ledger would ask.
func (r *rawLog) forge(c *triedCar, b entry.Body, person string) {
	n := len(r.notes)
	r.notes = append(r.notes, c.signed(entry.Entry{Body: b, Header: entry.Header{Origin: r.origin, Index: int64(n), Root: r.root(n),
		Time: time.Now().UTC(), Zone: "+00:00", Uptime: 1, Boot: "boot", Version: "hvproof 0"}}, person))
	r.rehash()
	r.sign(c)
}

// resign rewrites the entry at an index, and signs it and all later ones
// again with the keys of those who signed them.
func (r *rawLog) resign(c *triedCar, from int, change func(*entry.Entry)) {
	c.t.Helper()
	leaves := map[string]string{} // of entries that later ones confirm
	for i := from; i < len(r.notes); i++ {
		n, err := ledger.OpenNote([]byte(r.notes[i]))
		require.NoError(c.t, err)
		e, err := entry.Parse(n.Text)
		require.NoError(c.t, err)
		old := entry.FormatHash(ledger.Leaf([]byte(r.notes[i])))
		if i == from {
			change(&e)
		}
		e.Root = r.root(i)
		for f := range e.Fields {
			if now, ok := leaves[e.Fields[f].Value]; ok && e.Fields[f].Name == "leaf" {
				e.Fields[f].Value = now
			}
		}
		r.notes[i] = c.signed(e, n.Signer)
		leaves[old] = entry.FormatHash(ledger.Leaf([]byte(r.notes[i])))
	}
	r.rehash()
	r.sign(c)
}

// blob gives the path of a file that the log names.
func (c *triedCar) blob() string {
	c.t.Helper()
	found, err := filepath.Glob(filepath.Join(c.dir, "blobs", "*", "*"))
	require.NoError(c.t, err)
	require.NotEmpty(c.t, found)
	_, err = os.Stat(found[0])
	require.NoError(c.t, err)
	return found[0]
}
