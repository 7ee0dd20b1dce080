// Package html prints a bundle as a page that checks itself.
//
// The page is one file without any reference to outside. It carries the whole
// bundle, and a script that verifies it in the browser (every signature, leaf,
// root, blob, the checkpoint) and shows what the verified entries say: no claim
// stands in the page beside them. The Content-Security-Policy allows exactly this
// script and this style, by their hashes, and nothing else; whatever comes out of
// the log is set as text, never as markup.
//
// What the script cannot know, the remarks of the audit and the drawings of
// waveforms, stands in the page as the program made it from the same record. It
// is hidden until the record verifies, and said to be the program's.
//
// The script analyses no waveforms: that one of them refutes a decision is the
// program's to find. Faults of integrity that the program found, of whatever kind,
// stand at the head of the page, and it then says DOES NOT VERIFY, whatever the
// script finds. Nobody signs them, and who alters a page can take them out. What
// is left then says NOT VERIFIED, or, if it was done well, no more than any page
// says: that the browser checked signatures and files, and no waveforms. Whoever
// makes the page anew finds such faults himself, but for what only the writer's
// device knew (that the log was longer once): of that he has the page's word alone.
//
// A page that checks itself finds accidents, not a forger who writes page and
// script anew. So the same bundle gives the same page, byte for byte: whoever has
// the program makes it again and compares (`hvproof verify FILE.html`).
package html
