// Package people knows who may sign what: a fold over a log's entries.
//
// Trust starts at entry 0, which holds the first person's key and roles and is
// signed with that key. A releaser introduces others (`join`), who confirm with
// the new key (`accept`); only then does the key count. `retire` ends a key.
// A person who is introduced again gets a new key with the acceptance, and the
// old one ends there. What people.yaml says plays no part.
//
// The package checks roles and the life of keys. The signatures themselves are
// the ledger's to verify, with the key that [Register.Check] returns.
package people
