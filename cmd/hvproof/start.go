package main

import (
	"crypto/ed25519"
	"strconv"

	"hvproof/internal/carfolder"
	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/people"
)

// startBody gives entry 0.
func startBody(folder *carfolder.Folder, car string, first person, origin string, logKey ed25519.PrivateKey, practice bool, before *ledger.Predecessor) entry.Body {
	public := ed25519.PrivateKey(first.key).Public().(ed25519.PublicKey)
	b := entry.Body{Kind: entry.Start}
	b.Add("car", car)
	b.Add("name", folder.Vehicle.Name())
	b.AddYes("practice", practice)
	if before == nil {
		b.Add("predecessor", "none")
	} else {
		b.Add("predecessor", before.Origin)
		b.Add("predecessor-size", strconv.FormatInt(before.Size, 10))
		b.Add("predecessor-root", entry.FormatHash(before.Root))
	}
	b.Add("person", first.id)
	b.Add("roles", people.FormatRoles(first.roles))
	b.Add("key", people.VKey(first.id, public))
	b.Add("log-key", people.VKey(origin, logKey.Public().(ed25519.PublicKey)))
	return b
}
