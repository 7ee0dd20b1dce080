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
// recorded, in a run, in the readings as found and as left of a work on HV, and
// in the torque that closes an item; numbers in sentences are spoken, too,
// before they are signed. No key has the focus when a page appears, and Enter alone records
// nothing.
//
// Stop and make safe stands in one place on every page and asks nothing. Its
// instruction lies in every page already, so that it shows without a server;
// it is recorded as soon as the operator's key allows.
//
// Work on HV, open items, decisions, sanctions and permits are the forms of
// package form that a terminal asks, one question at a time. The answers so far
// travel in the page, and the form takes them anew each time: the server keeps
// nothing of them. All are read aloud before they are signed; where two sign,
// both keys open, or nothing is recorded. The same form sent twice is recorded
// once: what was recorded since it was begun is looked at.
//
// What was typed and is not on record is kept on the device, in the browser's
// session: a page loaded anew, a lost connection, a locked key or a restarted
// server brings it back for the very same question, and says that it did. What
// is said of the car's state and its cautions is said of that moment, and comes
// back only while nothing has happened since. A passphrase is never kept, and
// nothing is once the key was locked on that device or the run was left.
//
// A file goes to the log's store as it comes, up to 1 GiB, and has no name there
// until an entry names it. A waveform is drawn in views of it by the server: of
// samples that lie closer than can be drawn, least and greatest.
//
// # Sizes
//
// Every control is 15 mm square at least and 5 mm from the next, prompts and
// readings are 18 pt, and every text has a contrast of 7 to 1, in light and in
// dark; a test measures all of them on every page.
//
// # Language
//
// The page's own words stand in wording.txt. Procedures, cautions, rule books
// and rework.yaml are the car's files: a shop writes them in its language. What
// the program concludes, such as findings, reasons and refusals, is shown in the
// words in which it is recorded, and marked as English; ids, formulas and values
// are marked as not to be translated. A number may be typed with the language's
// decimal comma, and is read back in its canonical form.
//
// # Guards
//
// Host checked against the address that the connection came in on; cross-origin
// requests refused; every form carries a token made from the device's cookie,
// which no script can read; a Content-Security-Policy without inline script or
// style; codes and passphrases in limited number; HTTP/1.1 alone.
package bay
