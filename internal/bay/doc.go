// Package bay is the page that the scribe holds at the car: a run one step at
// a time, what is proven, the limits with their derivation, past readings.
//
// It is a driver of the step machine, as the terminal and the answers file
// are, and judges nothing itself: what was typed goes to run.Machine as text,
// and what the machine proposes goes to the [Car] to be signed and stored. It
// keeps no state of a run; what it draws is read from the log, so that a page
// drawn after a restart is the page drawn before it, and a step is shown as
// done only when its entry is durable.
//
// # What belongs to the page
//
// A device is a browser. Over the network each is paired once by a code and
// can be thrown out; on the machine itself none is needed. One device at a
// time answers for the operator: the one on which the operator unlocked last.
// The others follow. A witness or a releaser signs on any of them, with the
// passphrase of that one signature. Anybody may stop on any of them.
//
// A form names the last entry that its page was drawn from, the step and the
// attempt. An answer that comes twice, or late, or from a page drawn before
// another device answered, is not taken; the page is drawn anew and says so.
//
// A number is typed as digits, and its unit chosen on a key: there is no field
// in which m could turn into M. It is read back in words before anything is
// recorded. No key has the focus when a page appears, and Enter alone records
// nothing.
//
// Stop and make safe stands in one place on every page and asks nothing. Its
// instruction lies in every page already, so that it shows without a server;
// it is recorded as soon as the operator's key allows.
//
// # Guards
//
// Host checked against the address that the connection came in on; cross-origin
// requests refused; every form carries a token made from the device's cookie,
// which no script can read; a Content-Security-Policy without inline script or
// style; codes and passphrases in limited number; HTTP/1.1 alone. All words
// stand in wording.txt, which a shop may translate.
package bay
