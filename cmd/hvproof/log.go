package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/ledger"
)

func newLogCommand(a *app) *cobra.Command {
	note := int64(-1)
	var w subject
	cmd := &cobra.Command{
		Use:   "log",
		Short: "list the entries of the log",
		Long: `Lists the entries of the log. With --note N prints the exact bytes of entry N as
they were signed: its text, an empty line, and the signature.

With --part, --proof or --reading gives the history of a part of the car, a
proof, or one step's reading: its runs and the work on it, its trend against the
first reading, and whether it falls towards its limit or is far from its
siblings.

"hvproof help log" prints the format and how to check an entry with OpenSSL.`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if cmd.Flags().Changed("note") {
				return a.note(cmd.Context(), note)
			}
			if w.given() {
				return a.trend(cmd.Context(), w)
			}
			return a.log(cmd.Context())
		},
	}
	cmd.Flags().StringVar(&w.part, "part", "", "the history of a part, such as packs.left")
	cmd.Flags().StringVar(&w.proof, "proof", "", "the history of a proof")
	cmd.Flags().StringVar(&w.reading, "reading", "", "the history of one step's reading: its path, or PROCEDURE.PATH")
	cmd.Flags().StringVar(&w.at, "at", "", "with a history: insulation brought to this temperature, such as '20 °C', as an estimate")
	cmd.Flags().Int64Var(&note, "note", -1, "print the exact bytes of this entry")
	return cmd
}

// note prints the exact bytes of one entry.
func (a *app) note(ctx context.Context, index int64) error {
	s, err := a.read(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	if index < 0 || index >= s.entries {
		return diag.Bad(fmt.Sprintf("they are numbered from 0 to %d", s.entries-1), "there is no entry %d", index)
	}
	found := false
	err = s.store.ReadEntries(ctx, s.origin, index, index+1, func(_ int64, raw []byte) error {
		found = true
		_, err := a.out.Write(raw)
		return err
	})
	if err == nil && !found {
		return diag.No("hvproof verify says more", "entry %d is missing", index)
	}
	return err
}

type logDocument struct {
	Origin     string         `json:"origin"`
	Practice   bool           `json:"practice"`
	Size       int64          `json:"size"`
	Checkpoint string         `json:"checkpoint"`
	Entries    []noteDocument `json:"entries"`
}

type noteDocument struct {
	Index   int64    `json:"index"`
	Kind    string   `json:"kind"`
	Time    string   `json:"time"`
	Run     string   `json:"run,omitempty"`
	Path    string   `json:"path,omitempty"`
	Signers []string `json:"signers"`
	Leaf    string   `json:"leaf"`
	Note    string   `json:"note"`
}

// log lists all entries. An entry that cannot be read is listed by its place:
// verify says what is wrong with it.
func (a *app) log(ctx context.Context) error {
	s, err := a.read(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	checkpoint, err := s.store.Checkpoint(ctx, s.origin)
	if err != nil {
		return err
	}
	doc := logDocument{Origin: s.origin, Practice: s.practice, Size: s.entries, Checkpoint: string(checkpoint), Entries: []noteDocument{}}
	if !a.json {
		a.printf("%s, %d entries\n", s.origin, s.entries)
	}
	err = ledger.Read(ctx, s.store, s.origin, 0, s.entries, func(index int64, e entry.Entry, signer string, raw []byte) error {
		leaf := ledger.Leaf(raw)
		if a.json {
			doc.Entries = append(doc.Entries, noteDocument{index, string(e.Kind), entry.FormatTime(e.Time), e.Run, e.Path,
				[]string{signer}, entry.FormatHash(leaf), string(raw)})
			return nil
		}
		a.printf("%5d  %s  %-11s  %-12s %s\n", index, e.Time.Format(time.DateTime), e.Kind, signer, about(e))
		return nil
	})
	if err != nil || !a.json {
		return err
	}
	return a.document(doc)
}

// about says in a few words what an entry records.
func about(e entry.Entry) string {
	var words []string
	for _, w := range []string{e.Path, e.Text("procedure"), e.Text("text"), e.Text("decision"), e.Text("outcome"), e.Text("person"), e.Text("reason")} {
		if w != "" {
			words = append(words, w)
		}
	}
	return strings.Join(words, "  ")
}
