// Package home keeps what belongs to a person's device and never to a car
// folder: the name of the device, the keys of its logs, the keys of people, and
// the last checkpoint seen of every log. It lives in the configuration folder,
// whose path is an argument.
//
// # Layout
//
//	device-id                        eight characters a-z2-7 and a line feed, made once
//	log-keys/log-ORIGIN.key          key that signs the checkpoints of one log
//	people-keys/person-ID.key        key of one person, encrypted with a passphrase
//	people-keys/person-ID.key.pub    its public half, one line, for ssh-keygen
//	checkpoints/checkpoint-ORIGIN    the last checkpoint of one log that this device has seen
//	verified/verified-ORIGIN         how far one log was verified, to save time; may be deleted
//
// In a file's name every byte of the origin other than a-z 0-9 . - is written
// as _ and two hexadecimal digits: distinct origins have distinct files, also
// where a file system takes upper and lower case for one.
//
// Keys are OpenSSH private key files holding an Ed25519 key, mode 0600, so that
// ssh-keygen reads them. A person's key is always encrypted. A log's key is not:
// it says "this log", never "this person", and the program must be able to sign
// a checkpoint after every entry. Practice keys, see [PracticeKeys], are not
// encrypted either and prove nothing.
//
// # Files are whole or absent
//
// A file is written under a temporary name, synchronised, renamed into place,
// and its folder synchronised. Keys and the device id are only ever created,
// never replaced: two programs that start at once agree on the first.
//
// # Remembered checkpoints lag and never lead
//
// After an answer the order of writing is: blobs, the transaction of the log,
// then [Home.Remember]. A crash between the last two leaves this device
// remembering an older checkpoint than the log has: that is harmless, since the
// log can be shown to contain it. The opposite, a remembered checkpoint that is
// ahead of the log, means that the log lost entries: a disk that lied about
// synchronising, or a backup put back. Therefore Remember refuses to go
// backwards; only [Home.RememberLoss], after a releaser has signed for the
// loss, replaces a later checkpoint by an earlier one.
//
// # What is not checked
//
// On Windows the permissions of key files are not checked, since mode bits say
// nothing there. Nobody but this user must be able to write to the folder; that
// is left to the system that made it.
package home
