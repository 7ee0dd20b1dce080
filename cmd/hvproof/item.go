package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/people"
	"hvproof/internal/readiness"
)

func newItemCommand(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "item",
		Short: "open items and nonconformances: list, add, close, decide",
		Long: `Everything provisional at the car: joints nipped up without torque and mark,
covers off, temporary links, borrowed parts, opened seals. And every requirement
that was not met: a fail, a conditional fail, a finding. What is open and blocks
keeps power off. dry-fit opens every joint at once; torque and mark in a later run
of joints close each by itself. Items of a log that this one goes on from are
named with it, i12@k3f9, and are closed here.`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.itemList(cmd.Context(), false) },
	}
	all := false
	list := &cobra.Command{Use: "list", Short: "what is open", Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.itemList(cmd.Context(), all) }}
	list.Flags().BoolVar(&all, "all", false, "closed nonconformances, too")
	cmd.AddCommand(list,
		itemCommand(a, "add", "open an item", 0, (*session).itemAdd),
		itemCommand(a, "dry-fit", "open an item for every joint: fitted without torque", 0, (*session).itemDryFit),
		itemCommand(a, "close ID", "close an item, with the evidence", 1, (*session).itemClose),
		itemCommand(a, "decide ID", "decide about a nonconformance: cause and disposition", 1, (*session).itemDecide))
	return cmd
}

// itemCommand makes a subcommand that writes.
func itemCommand(a *app, use, short string, args int, do func(*session, string, *answersFile, string) error) *cobra.Command {
	var answers, by string
	check := noArgs
	if args > 0 {
		check = exactArgs(args, "the id; see hvproof item list")
	}
	cmd := &cobra.Command{Use: use, Short: short, Args: check, RunE: func(cmd *cobra.Command, args []string) error {
		s, err := a.write(cmd.Context())
		if err != nil {
			return err
		}
		defer s.close()
		file, err := s.answersFor(answers)
		if err != nil {
			return err
		}
		before := s.entries
		if err := do(s, strings.Join(args, ""), file, by); err != nil {
			return err
		}
		if a.json {
			return a.document(map[string]any{"entry": before, "items": s.itemDocuments(false)})
		}
		return nil
	}}
	cmd.Flags().StringVar(&answers, "answers", "", "answer from this file")
	cmd.Flags().StringVar(&by, "by", "", "who signs")
	return cmd
}

// itemDocument is an open item or a nonconformance.
type itemDocument struct {
	ID       string   `json:"id"`
	Kind     string   `json:"kind"` // "nonconformance", or the sort of thing
	Text     string   `json:"text"`
	Parts    []string `json:"parts"`
	Blocks   bool     `json:"blocks"`
	Open     bool     `json:"open"`
	Run      string   `json:"run,omitempty"`
	Opened   string   `json:"opened,omitempty"`
	By       string   `json:"by,omitempty"`
	Decision string   `json:"disposition,omitempty"`
	Cause    string   `json:"cause,omitempty"`
	Lacks    string   `json:"lacks,omitempty"` // what it still lacks
}

func itemJSON(i *readiness.OpenItem) itemDocument {
	return itemDocument{ID: i.ID(), Kind: i.Kind, Text: i.Text, Parts: append([]string{}, i.Parts...), Blocks: i.Blocks, Open: true,
		Opened: i.Opened.Format(time.RFC3339), By: i.By}
}

func nonconformanceJSON(n *readiness.Nonconformance) itemDocument {
	d := itemDocument{ID: n.ID(), Kind: "nonconformance", Text: n.Procedure + ", " + n.Text, Parts: []string{}, Blocks: n.Open != "", Open: n.Open != "",
		Run: n.Run, Lacks: n.Open}
	if n.Decided != nil {
		d.Decision, d.Cause = n.Decided.Kind, n.Decided.Cause
	}
	return d
}

func (s *session) itemDocuments(all bool) []itemDocument {
	docs := []itemDocument{}
	for _, i := range readiness.OpenItems(s.facts()) {
		docs = append(docs, itemJSON(i))
	}
	for _, n := range readiness.Nonconformances(s.facts()) {
		if all || n.Open != "" {
			docs = append(docs, nonconformanceJSON(n))
		}
	}
	return docs
}

func (a *app) itemList(ctx context.Context, all bool) error {
	s, err := a.read(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	docs := s.itemDocuments(all)
	if a.json {
		return a.document(map[string]any{"items": docs})
	}
	if len(docs) == 0 {
		a.printf("nothing is open\n")
	}
	for _, d := range docs {
		state := "blocks"
		if !d.Open {
			state = "closed"
		} else if !d.Blocks {
			state = "open"
		}
		a.printf("%-6s %-7s %-15s %s\n", d.ID, state, d.Kind, d.Text)
		if d.Decision != "" {
			a.printf("%30s decided: %s, cause: %s\n", "", d.Decision, d.Cause)
		}
		if d.Lacks != "" {
			a.printf("%30s %s\n", "", d.Lacks)
		}
	}
	return nil
}

// record signs an entry of a dialogue.
func (s *session) recordBy(b entry.Body, by string) (entry.Entry, error) {
	if err := s.unlock(by, s.app.passphrase); err != nil {
		return entry.Entry{}, err
	}
	e, err := s.commit(b, by)
	if err == nil {
		s.app.sayf("recorded %s %d", e.Kind, e.Index)
	}
	return e, err
}

func (s *session) itemAdd(_ string, file *answersFile, by string) error {
	folder, err := s.load()
	if err != nil {
		return err
	}
	if by, err = s.signer(by, file, "operator", ""); err != nil {
		return err
	}
	f := readiness.AddForm(folder.Vehicle.Part)
	if err := s.app.fill(f, file); err != nil {
		return err
	}
	_, err = s.recordBy(readiness.AddBody(f.Get("item"), f.Get("text"), f.Get("blocks"), f.All("parts")), by)
	return err
}

func (s *session) itemDryFit(_ string, file *answersFile, by string) error {
	folder, err := s.load()
	if err != nil {
		return err
	}
	if by, err = s.signer(by, file, "operator", ""); err != nil {
		return err
	}
	joints, _, _ := folder.Vehicle.Collection("joints")
	if len(joints) == 0 {
		return diag.No("write them into vehicle.yaml", "the car has no joints")
	}
	open := readiness.OpenItems(s.facts())
	for _, j := range joints {
		if slices.ContainsFunc(open, func(i *readiness.OpenItem) bool {
			return i.Kind == readiness.Joint && i.Blocks && slices.Equal(i.Parts, []string{"joints." + j})
		}) {
			s.app.sayf("%s is open already", j)
			continue
		}
		if _, err := s.recordBy(readiness.AddBody(readiness.Joint, j+" fitted dry, without torque and mark", "power", []string{"joints." + j}), by); err != nil {
			return err
		}
	}
	return nil
}

func (s *session) itemClose(id string, file *answersFile, by string) error {
	item := s.openItem(id)
	if item == nil {
		return diag.Bad("see hvproof item list", "no item %q is open", id)
	}
	by, err := s.signer(by, file, "operator", people.Operator)
	if err != nil {
		return err
	}
	f := readiness.CloseForm(item, by)
	if err := s.app.fill(f, file); err != nil {
		return err
	}
	if item.Origin != s.origin { // go on with it here, then close it
		e, err := s.recordBy(readiness.CarryBody(item), by)
		if err != nil {
			return err
		}
		item = s.openItem(fmt.Sprintf("i%d", e.Index))
	}
	_, err = s.recordBy(readiness.CloseBody(item, f), by)
	return err
}

// openItem gives the open item with the id, nil if there is none.
func (s *session) openItem(id string) *readiness.OpenItem {
	for _, i := range readiness.OpenItems(s.facts()) {
		if i.ID() == id {
			return i
		}
	}
	return nil
}

func (s *session) itemDecide(id string, file *answersFile, by string) error {
	var found *readiness.Nonconformance
	for _, n := range readiness.Nonconformances(s.facts()) {
		if n.ID() == id || n.Run == id {
			found = n
		}
	}
	if found == nil {
		return diag.Bad("see hvproof item list", "there is no nonconformance %q", id)
	}
	by, err := s.signer(by, file, "releaser", people.Releaser)
	if err != nil {
		return err
	}
	f := readiness.DecideForm()
	if err := s.app.fill(f, file); err != nil {
		return err
	}
	if found.Origin != s.origin { // let it stand here, then decide
		e, err := s.recordBy(readiness.StandBody(found), by)
		if err != nil {
			return err
		}
		leaf, err := s.leaf(e.Index)
		if err != nil {
			return err
		}
		found.Ref = readiness.Ref{Origin: s.origin, Index: e.Index, Leaf: leaf}
	}
	_, err = s.recordBy(readiness.DecideBody(found, f), by)
	return err
}
