// Package run is the step machine: it takes a frozen plan and turns answers
// into proposed log entries.
//
// The machine is passive. Next tells what is wanted now; Answer judges an
// answer and proposes the bodies of entries, and does not advance; Apply
// advances, and is called only with entries that are already durable. A run
// that was interrupted is the same machine with its entries applied again:
// there is no other state that could disagree with the log.
//
// The machine interprets what was typed; its drivers (terminal, answers
// file, page) show prompts and pass text, and have no rules of their own.
package run
