// Package ledger is the signed, append-only log of a car folder.
//
// An entry lies in the log as a C2SP signed note with exactly one person's
// Ed25519 signature: the text of the entry (package entry), a blank line, and
//
//	— ID BASE64
//
// where ID is the person's id and BASE64 holds four bytes of key hash and 64
// bytes of signature. The leaf of an entry is the RFC 6962 leaf hash of the
// whole note's bytes. After every append the log's own key signs a checkpoint
// (C2SP tlog-checkpoint): origin, size, base64 of the root. The log's key is
// named after the origin, stands in entry 0, and says "this log", never "this
// person".
//
// Only one spelling of a note and of a checkpoint is accepted: that which
// would be printed.
//
// # Checking one entry with OpenSSL
//
// With entry.note as `hvproof log --note N` prints it and key.pem as
// [people.PEM] prints the signer's key, three commands check one signature:
//
//	sed '/^$/,$d' entry.note > text.bin
//	sed -n 's/^— [^ ]* //p' entry.note | openssl base64 -d -A | tail -c +5 > sig.bin
//	openssl pkeyutl -verify -pubin -inkey key.pem -rawin -in text.bin -sigfile sig.bin
//
// OpenSSL answers "Signature Verified Successfully".
package ledger
