package main

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"hvproof/internal/carfolder"
	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/people"
	"hvproof/internal/readiness"
)

func newPermitCommand(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "permit",
		Short: "sanction for test, and permit to energise",
		Long: `A sanction for test lets named people run one live procedure until a stated
time. A permit to energise lets power come on, today, or until the next work on
the HV system, whichever is first. Both want two signatures of two people, and
name the proofs that they stand on. Neither switches anything, and neither does
its end.`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.permitShow(cmd.Context()) },
	}
	show := &cobra.Command{Use: "show", Short: "what was granted, and what is in force", Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.permitShow(cmd.Context()) }}
	var f permitFlags
	test := &cobra.Command{Use: "test PROCEDURE", Short: "grant a sanction for test of one live procedure", Args: exactArgs(1, "the procedure's id"),
		RunE: func(cmd *cobra.Command, args []string) error { return a.permitGrant(cmd.Context(), args[0], f) }}
	grant := &cobra.Command{Use: "grant", Short: "grant a permit to energise, for today",
		Long: `Refuses with all reasons, or grants. --force grants in spite of reasons, with a
written --reason; such a permit is loud in every report, changes no proof and
never makes ready say yes. Failed isolation or emergency-off cannot be forced.

--copy DIR writes the log's checkpoint to a folder on another device, and the
permit says where it is and whether that is another device: the same disk under
another name is none, and where the system does not tell, the permit says that.`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.permitGrant(cmd.Context(), "", f) }}
	grant.Flags().BoolVar(&f.force, "force", false, "grant in spite of reasons")
	grant.Flags().StringVar(&f.reason, "reason", "", "why it is forced")
	grant.Flags().StringVar(&f.copy, "copy", "", "a folder on a second device for the log's checkpoint")
	end := &cobra.Command{Use: "end [NUMBER]", Short: "end what is in force", Args: mostArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.permitEnd(cmd.Context(), strings.Join(args, ""), f)
		}}
	end.Flags().StringVar(&f.reason, "reason", "", "why")
	for _, c := range []*cobra.Command{test, grant, end} {
		c.Flags().StringVar(&f.answers, "answers", "", "answer from this file")
		c.Flags().StringVar(&f.by, "by", "", "who signs")
	}
	cmd.AddCommand(test, grant, end, show)
	return cmd
}

type permitFlags struct {
	answers, by, reason, copy string
	force                     bool
}

// permitDocument is a sanction or a permit.
type permitDocument struct {
	Kind       string   `json:"kind"` // "sanction" or "permit"
	Entry      int64    `json:"entry"`
	Procedure  string   `json:"procedure,omitempty"`
	People     []string `json:"people,omitempty"`
	Barrier    string   `json:"barrier,omitempty"`
	Until      string   `json:"until"`
	Conditions []string `json:"conditions"`
	Proofs     []string `json:"proofs"`
	Root       string   `json:"log_root"` // that it stands on, of the Entry entries before it
	Forced     []string `json:"forced,omitempty"`
	Reason     string   `json:"reason,omitempty"`
	Signers    []string `json:"signers"`
	Copy       string   `json:"second_copy,omitempty"`
	InForce    bool     `json:"in_force"`
	Over       string   `json:"over,omitempty"` // why it is not in force
}

func (s *session) grantJSON(g *readiness.Grant) permitDocument {
	d := permitDocument{Kind: "sanction", Entry: g.Index, Procedure: g.Procedure, People: g.People, Barrier: g.Barrier,
		Until: g.Until.In(s.now().Location()).Format("2006-01-02 15:04"), Conditions: append([]string{}, g.Conditions...),
		Proofs: append([]string{}, g.Proofs...), Root: entry.FormatHash(g.Root), Forced: g.Forced, Reason: g.Reason, Signers: []string{g.Signer}, Copy: g.Copy,
		Over: s.record.Over(g, s.now())}
	if g.Permit {
		d.Kind, d.Until = "permit", g.LastDay
	}
	if g.Second != "" {
		d.Signers = append(d.Signers, g.Second)
	}
	d.InForce = d.Over == ""
	return d
}

// permitLine says in one line what is in force.
func (s *session) permitLine() string {
	if g := s.record.InForce(s.now()); g != nil {
		line := fmt.Sprintf("permit to energise %d in force until the end of %s, by %s and %s", g.Index, g.LastDay, g.Signer, g.Second)
		if len(g.Forced) > 0 {
			line = "FORCED " + line
		}
		return line
	}
	for _, g := range slices.Backward(s.record.Grants()) {
		if !g.Permit && s.record.Over(g, s.now()) == "" {
			return fmt.Sprintf("no permit to energise; sanction for test %d: %s, until %s", g.Index, g.Procedure, s.grantJSON(g).Until)
		}
	}
	return "no permit to energise is in force"
}

func (a *app) permitShow(ctx context.Context) error {
	s, err := a.read(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	docs := []permitDocument{}
	for _, g := range s.record.Grants() {
		docs = append(docs, s.grantJSON(g))
	}
	if a.json {
		return a.document(map[string]any{"permits": docs})
	}
	a.printf("%s\n", s.permitLine())
	for _, d := range docs {
		what := "permit to energise"
		if d.Kind == "sanction" {
			what = "sanction for test of " + d.Procedure + ", for " + strings.Join(d.People, ", ")
		}
		if len(d.Forced) > 0 {
			what = "FORCED " + what
		}
		state := "in force"
		if !d.InForce {
			state = d.Over
		}
		a.printf("\n%d  %s, until %s, signed by %s\n   %s\n", d.Entry, what, d.Until, strings.Join(d.Signers, " and "), state)
		a.printf("   stands on %s, and the first %d entries of the log, root %s\n", number(len(d.Proofs), "proof", "proofs"), d.Entry, d.Root)
		if d.Barrier != "" {
			a.printf("   barrier: %s\n", d.Barrier)
		}
		for _, c := range d.Conditions {
			a.printf("   condition: %s\n", c)
		}
		for _, c := range d.Forced {
			a.printf("   FORCED OVER %s\n", c)
		}
		if d.Reason != "" {
			a.printf("   reason: %s\n", d.Reason)
		}
		if d.Kind == "permit" {
			a.printf("   second copy of the checkpoint: %s\n", d.Copy)
		}
	}
	return nil
}

// permitGrant grants a sanction for test of a procedure, or, where none is
// named, a permit to energise; or it refuses with all reasons.
func (a *app) permitGrant(ctx context.Context, procedure string, f permitFlags) error {
	s, err := a.writeWhole(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	why, g, err := s.grant(procedure, f)
	switch {
	case err != nil:
		return err
	case a.json && g == nil:
		err = a.document(map[string]any{"granted": false, "reasons": why})
	case a.json:
		return a.document(map[string]any{"granted": true, "permit": s.grantJSON(g), "reasons": []string{}})
	case g == nil:
		a.printf("refused:\n")
		for _, w := range why {
			a.printf("  - %s\n", w)
		}
	default:
		d := s.grantJSON(g)
		a.printf("granted: %s %d until %s, signed by %s\n", d.Kind, d.Entry, d.Until, strings.Join(d.Signers, " and "))
		if g.Permit && !strings.HasSuffix(g.Copy, onOther) {
			a.printf("second copy of the log's checkpoint: %s\n  hvproof permit grant --copy DIR writes one to a stick or another device\n", g.Copy)
		}
		return nil
	}
	if err != nil {
		return err
	}
	return errNo
}

// against gives the proofs of now and every reason against a sanction for test
// of a procedure, or against a permit to energise where none is named.
func (s *session) against(folder *carfolder.Folder, procedure string) (proofs []readiness.Proof, why []string, err error) {
	if proofs, err = s.proofs(folder.Requirements(s.practice)); err != nil {
		return nil, nil, err
	}
	if procedure == "" {
		return proofs, s.unready(folder, proofs), nil
	}
	p, err := folder.Plan(procedure, s.practice)
	if err != nil {
		return nil, nil, err
	}
	if !p.Live {
		return nil, nil, diag.Bad("run it without", "%s is not live and needs no sanction", procedure)
	}
	return proofs, append(s.broken(), readiness.WhyNot(s.facts(), proofs, procedure)...), nil
}

// grant gives the reasons against, or what was granted.
func (s *session) grant(procedure string, f permitFlags) (why []string, g *readiness.Grant, err error) {
	folder, err := s.load()
	if err != nil {
		return nil, nil, err
	}
	proofs, why, err := s.against(folder, procedure)
	if err != nil {
		return nil, nil, err
	}
	var forced []string
	if procedure == "" && f.force && len(why) > 0 {
		if strings.TrimSpace(f.reason) == "" {
			return nil, nil, diag.Bad("say why with --reason", "a permit is not forced without a written reason")
		}
		forced, why = why, readiness.Unforceable(proofs)
	}
	if len(why) > 0 {
		return why, nil, nil
	}
	file, err := s.answersFor(f.answers)
	if err != nil {
		return nil, nil, err
	}
	by, err := s.signer(f.by, file, "releaser", people.Releaser)
	if err != nil {
		return nil, nil, err
	}
	form := readiness.GrantForm(procedure != "", s.names(""), by, s.record.Now(s.now()))
	if err := s.app.fill(form, file); err != nil {
		return nil, nil, err
	}
	body := readiness.SanctionBody(procedure, proofs, form)
	if procedure == "" {
		where, err := s.writeCopy(f.copy)
		if err != nil {
			return nil, nil, err
		}
		body = readiness.PermitBody(s.record.Now(s.now()).Format(time.DateOnly), proofs, forced, f.reason, where, form)
	}
	e, err := s.recordBy(body, by)
	if err != nil {
		return nil, nil, err
	}
	g = s.record.Grant(e.Index)
	second := form.Get("second")
	if _, err := s.recordBy(readiness.Countersign(g.Ref), second); err != nil {
		return nil, nil, err
	}
	s.lock(second)
	s.lock(by)
	if procedure == "" && f.copy != "" {
		_, err = s.writeCopy(f.copy) // the permit itself, too
	}
	return nil, g, err
}

// permitEnd ends the named grant, or all that are in force.
func (a *app) permitEnd(ctx context.Context, number string, f permitFlags) error {
	if strings.TrimSpace(f.reason) == "" {
		return diag.Bad("say why with --reason", "nothing is ended without a reason")
	}
	s, err := a.write(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	var end []*readiness.Grant
	for _, g := range s.record.Grants() {
		if s.record.Over(g, s.now()) == "" && (number == "" || number == strconv.FormatInt(g.Index, 10)) {
			end = append(end, g)
		}
	}
	if len(end) == 0 {
		return diag.No("see hvproof permit show", "nothing of that is in force")
	}
	file, err := s.answersFor(f.answers)
	if err != nil {
		return err
	}
	by, err := s.signer(f.by, file, "operator", "")
	if err != nil {
		return err
	}
	docs := []permitDocument{}
	for _, g := range end {
		if _, err := s.recordBy(readiness.EndBody(g.Ref, f.reason), by); err != nil {
			return err
		}
		docs = append(docs, s.grantJSON(g))
	}
	if a.json {
		return a.document(map[string]any{"ended": docs})
	}
	for _, d := range docs {
		a.printf("%s %d has ended; power is not off by that\n", d.Kind, d.Entry)
	}
	return nil
}
