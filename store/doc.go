// Package store keeps the logs of a car folder in SQLite, and the files that
// their entries refer to beside it. It is the only package that knows SQL; to
// the others it is a [ledger.Storage].
//
// # In the car folder
//
//	hvproof.db         the logs; schema/0001.sql says what its columns mean
//	hvproof.db-wal     the newest answers, while a program writes or after it was killed
//	hvproof.db-shm     index of the former, for the programs that have it open
//	hvproof.lock       who writes; locked by the operating system, never deleted
//	blobs/ab/abcd…     files by their SHA-256, in hexadecimal
//
// The notes are readable text: any SQLite shell shows them with
//
//	SELECT note FROM entry WHERE origin = '…' ORDER BY "index";
//
// # What is promised
//
// When [Store.Append] has returned, entries, tree hashes and checkpoint are on
// the disk together, as far as the disk tells the truth: write-ahead log,
// synchronous=FULL, one immediate transaction guarded by the size that the
// caller expected. A killed process leaves either all of it or nothing. A blob
// is on the disk before [Store.PutBlob] returns.
//
// One program at a time writes to a folder. It holds a lease, which ends with
// the process however that ends; a second one is told who holds it. Reading
// needs no lease, works while somebody writes and in folders that are
// read-only, and makes or changes no file there, except the index
// hvproof.db-shm, which all programs share that have the database open while
// somebody writes. After a killed writer it reads a private copy in the folder
// for temporary files; a reader that is killed in turn leaves that copy there.
//
// A copy of hvproof.db alone, without hvproof.db-wal, made while a program
// writes, lacks the newest answers. After [Store.Close] it has all of them. The
// way to hand a log on is `hvproof bundle`.
//
// # What is not checked
//
// A power cut was not tested, killed processes were. Whether the disk is honest
// cannot be seen from here; [ledger.Verify] against a checkpoint kept elsewhere
// sees that something is missing. For folders on other computers see
// [Store.Warnings].
package store
