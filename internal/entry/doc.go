// Package entry prints and reads the records of the log, byte for byte.
//
// The specification of the format is the file spec.txt beside this comment,
// with the fields of each kind from kinds.go; [Specification] returns both, and
// `hvproof help log` prints them. In short: an entry is UTF-8 text of lines
// `name: value` in one fixed order, with one spelling for everything, and
// [Parse] accepts only what [Marshal] prints. It is signed by exactly one
// person, as a C2SP signed note (package ledger). A whole one:
//
//	hvproof entry 1
//	origin: hvproof/sandpiper/bench-1/k3f9
//	index: 6
//	root: drTKY5GSdQ0Pw1vCkIouken28EabxjmpEipm9riitBI=
//	kind: reading
//	time: 2026-03-01T08:00:07.000000000Z
//	zone: +01:00
//	uptime: 12.5
//	boot: boot-1
//	version: v0.1.0
//	run: k3f9-5
//	path: whole.minus
//	attempt: 1
//	text: 45.4 M
//	value: 45400000
//	unit: Ω
//	u: 2770000
//	digit: 100000
//	instrument: meter-2
//	function: isolation
//	range: 0
//	decision: pass
//	rule: guard_band
//	result 1: pass at least 201.6 kΩ
//	finding 1: far above the window:\n12 MΩ to 30 MΩ were expected
//
//	— s.okoro rRkk6eTZjzuHLSBUozoKKDeOuZmlAw2BuEChhIdcEmfO4mMKz1ILA/E1vkd0NVAsFBVZOuqke3qaADNh5s82ln4Z+Qk=
package entry
