package main

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/home"
	"hvproof/internal/ledger"
	"hvproof/internal/people"
)

func newPersonCommand(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "person",
		Short: "people with their keys and roles",
		Long: `People sign with their own keys. The first person begins the log; further people
are introduced by a releaser and confirm with their own key. Who may sign what
is in the log, and nowhere else.`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.persons(cmd.Context()) },
	}
	var roles, by, reason string
	add := &cobra.Command{
		Use:   "add ID",
		Short: "give a person a key and roles",
		Long: `Makes a key for a person on this device and puts the person into the log. The
first person of a folder begins its log and should be a releaser.`,
		Args: exactArgs(1, "an id such as r.mills"),
		RunE: func(cmd *cobra.Command, args []string) error { return a.personAdd(cmd.Context(), args[0], roles, by) },
	}
	add.Flags().StringVar(&roles, "roles", "operator,witness,releaser", "what the person may do")
	add.Flags().StringVar(&by, "by", "", "the releaser who introduces the person")
	retire := &cobra.Command{
		Use:   "retire ID",
		Short: "end a person's key",
		Args:  exactArgs(1, "the person's id"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.personRetire(cmd.Context(), args[0], by, reason)
		},
	}
	retire.Flags().StringVar(&by, "by", "", "who ends it: the person, or a releaser")
	retire.Flags().StringVar(&reason, "reason", "", "why")
	loss := &cobra.Command{
		Use:   "loss",
		Short: "sign that entries of the log were lost",
		Long: `After a restored backup or a lying disk the log is shorter than this device
remembers, and read-only. Find the missing entries if they exist anywhere.
Otherwise a releaser signs for the loss, which stays visible for ever.`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.personLoss(cmd.Context(), by, reason) },
	}
	loss.Flags().StringVar(&by, "by", "", "the releaser who signs")
	loss.Flags().StringVar(&reason, "reason", "", "what happened")
	key := false
	show := &cobra.Command{
		Use:   "show ID",
		Short: "show a person's key and roles",
		Long: `Shows a person's key and roles. With --key prints the public key in PEM, as
OpenSSL reads it.`,
		Args: exactArgs(1, "the person's id"),
		RunE: func(cmd *cobra.Command, args []string) error { return a.personShow(cmd.Context(), args[0], key) },
	}
	show.Flags().BoolVar(&key, "key", false, "print the public key in PEM")
	over := &cobra.Command{
		Use:   "hand-over ID",
		Short: "go on with the log on this device",
		Long: `A copied car folder is read-only on another device. A releaser of its log, whose
key is on this device, may go on here: a new log begins that names the one before,
its size and its root. The runs before count on; people are introduced anew.`,
		Args: exactArgs(1, "the releaser's id"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.handOver(cmd.Context(), args[0], reason)
		},
	}
	over.Flags().StringVar(&reason, "reason", "", "why the log moves")
	cmd.AddCommand(add, retire, over, loss, show)
	return cmd
}

// persons lists the people of the log.
func (a *app) persons(ctx context.Context) error {
	s, err := a.read(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	docs := []personDocument{}
	for _, p := range s.people.Persons() {
		docs = append(docs, personJSON(p))
	}
	if a.json {
		return a.document(map[string]any{"people": docs})
	}
	for _, d := range docs {
		ended := ""
		if d.Until != nil {
			ended = fmt.Sprintf("  ended at entry %d", *d.Until)
		}
		a.printf("%-16s %-28s since entry %d, by %s%s\n%17s%s\n", d.ID, strings.Join(d.Roles, " "), d.From, d.IntroducedBy, ended, "", d.Fingerprint)
	}
	for _, w := range s.people.Warnings() {
		a.warnf("%s", w)
	}
	return nil
}

type personDocument struct {
	ID           string   `json:"id"`
	Roles        []string `json:"roles"`
	Key          string   `json:"key"`
	Fingerprint  string   `json:"fingerprint"`
	From         int64    `json:"from"`
	Until        *int64   `json:"until,omitempty"`
	IntroducedBy string   `json:"introduced_by"`
}

func personJSON(p people.Person) personDocument {
	d := personDocument{ID: p.ID, Roles: []string{}, Key: people.VKey(p.ID, p.Key), Fingerprint: people.Fingerprint(p.Key),
		From: p.From, IntroducedBy: p.IntroducedBy}
	for _, r := range p.Roles {
		d.Roles = append(d.Roles, string(r))
	}
	if p.Until != people.Forever {
		d.Until = &p.Until
	}
	return d
}

func (a *app) personShow(ctx context.Context, id string, key bool) error {
	s, err := a.read(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	all := s.people.Persons()
	i := slices.IndexFunc(all, func(p people.Person) bool { return p.ID == id })
	if i < 0 {
		return diag.Bad("people in this log: "+strings.Join(s.names(""), ", "), "%s is not in this log", id)
	}
	if current, ok := s.people.Current(id); ok {
		all[i] = current
	}
	if a.json {
		return a.document(personJSON(all[i]))
	}
	if key {
		a.printf("%s", people.PEM(all[i].Key))
		return nil
	}
	a.printf("%s  %s\nfingerprint  %s\nverifier key %s\n%s\n", id, people.FormatRoles(all[i].Roles), people.Fingerprint(all[i].Key),
		people.VKey(id, all[i].Key), people.SSH(all[i].Key, id))
	return nil
}

// personAdd makes a person's key and puts the person into the log; the first
// one begins it.
func (a *app) personAdd(ctx context.Context, id, roleText, by string) error {
	if err := home.CheckPersonID(id); err != nil {
		return err
	}
	roles, err := people.ParseRoles(strings.Join(strings.FieldsFunc(roleText, func(r rune) bool { return r == ',' || r == ' ' }), " "))
	if err != nil {
		return diag.Bad("use some of operator,witness,releaser", "--roles: %v", err)
	}
	s, err := a.write(ctx)
	if err == errNoLog {
		return a.beginLog(ctx, id, roles)
	}
	if err != nil {
		return err
	}
	defer s.close()
	if by == "" {
		if releasers := s.names(people.Releaser); len(releasers) == 1 {
			by = releasers[0]
		} else {
			return diag.Bad("say which with --by: "+strings.Join(releasers, ", "), "a releaser introduces further people")
		}
	}
	if err := s.unlock(by, a.passphrase); err != nil {
		return err
	}
	key, err := s.newKey(id)
	if err != nil {
		return err
	}
	return s.introduce(id, roles, key, by)
}

// introduce writes the join, signed by a releaser, and the accept, signed
// with the new key.
func (s *session) introduce(id string, roles []people.Role, private ed25519.PrivateKey, by string) error {
	key := private.Public().(ed25519.PublicKey)
	join := entry.Body{Kind: entry.Join}
	join.Add("person", id)
	join.Add("roles", people.FormatRoles(roles))
	join.Add("key", people.VKey(id, key))
	e, err := s.commit(join, by)
	if err != nil {
		return err
	}
	leaf, err := s.leaf(e.Index)
	if err != nil {
		return err
	}
	accept := entry.Body{Kind: entry.Accept}
	accept.Add("entry", strconv.FormatInt(e.Index, 10))
	accept.Add("leaf", entry.FormatHash(leaf))
	if s.keys[id], err = ledger.NewSigner(id, private); err != nil {
		return err
	}
	if _, err := s.commit(accept, id); err != nil {
		return err
	}
	s.app.sayf("%s may now act as %s; fingerprint %s", id, people.FormatRoles(roles), people.Fingerprint(key))
	return nil
}

// leaf gives the leaf hash of an entry.
func (s *session) leaf(index int64) (leaf [32]byte, err error) {
	err = s.store.ReadEntries(s.ctx, s.origin, index, index+1, func(_ int64, raw []byte) error {
		leaf = ledger.Leaf(raw)
		return nil
	})
	return leaf, err
}

// newKey makes a person's key on this device, or gives the one that is there.
func (s *session) newKey(id string) (ed25519.PrivateKey, error) {
	if s.practice {
		keys := home.OpenPractice(filepath.Join(s.root, practiceKeys), rand.Reader)
		if private, err := keys.PersonKey(id); err == nil {
			return private, nil
		}
		if _, err := keys.CreatePersonKey(id); err != nil {
			return nil, err
		}
		return keys.PersonKey(id)
	}
	return s.app.newRealKey(s.home, id)
}

// newRealKey makes the key of a person who types a new passphrase twice, or
// unlocks the one that is there.
func (a *app) newRealKey(h *home.Home, id string) (ed25519.PrivateKey, error) {
	if known, err := h.People(); err == nil && slices.Contains(known, id) {
		passphrase, err := a.passphrase(id)
		if err != nil {
			return nil, err
		}
		defer clear(passphrase)
		return h.PersonKey(id, passphrase)
	}
	once, err := a.passphrase(id + " (new)")
	if err != nil {
		return nil, err
	}
	defer clear(once)
	twice, err := a.passphrase(id + " (again)")
	if err != nil {
		return nil, err
	}
	defer clear(twice)
	if !bytes.Equal(once, twice) {
		return nil, diag.Bad("try again", "the two passphrases differ")
	}
	if _, err := h.CreatePersonKey(id, once); err != nil {
		return nil, err
	}
	return h.PersonKey(id, once)
}

// personRetire ends a person's key.
func (a *app) personRetire(ctx context.Context, id, by, reason string) error {
	if strings.TrimSpace(reason) == "" {
		return diag.Bad("say why with --reason", "a key is not ended without a reason")
	}
	s, err := a.write(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	p, ok := s.people.Current(id)
	if !ok {
		return diag.Bad("people with keys in this log: "+strings.Join(s.names(""), ", "), "%s has no key in this log", id)
	}
	if by == "" {
		by = id
	}
	if err := s.unlock(by, a.passphrase); err != nil {
		return err
	}
	b := entry.Body{Kind: entry.Retire}
	b.Add("person", id)
	b.Add("key", people.VKey(id, p.Key))
	b.Add("reason", reason)
	e, err := s.commit(b, by)
	if err != nil {
		return err
	}
	a.sayf("recorded %s %d", e.Kind, e.Index)
	for _, w := range s.people.Warnings() {
		a.warnf("%s", w)
	}
	return nil
}
