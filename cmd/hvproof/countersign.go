package main

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"errors"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"hvproof/internal/bundle"
	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/home"
	"hvproof/internal/ledger"
	"hvproof/internal/people"
)

type countersignFlags struct{ key, name, output string }

func newCountersignCommand(a *app) *cobra.Command {
	var f countersignFlags
	cmd := &cobra.Command{
		Use:   "countersign FILE",
		Short: "sign a checkpoint, or those of a bundle, with a key of one's own",
		Long: `For a scrutineer: signs the checkpoint in FILE, or the checkpoints of the bundle
FILE, with your own OpenSSH Ed25519 key (ssh-keygen -t ed25519), and writes them
with your signature to another file. Keep it. A log that is later cut short or
rewritten does not agree with it any more, and anybody who knows your key can see
that: hvproof verify LOG --against FILE --cosigner YOUR-KEY.pub.

What you sign is that this checkpoint existed at the time your clock shows, not
that the readings are right. A bundle that does not verify is not signed.

EXIT STATUS
  0 signed, 1 it does not verify or the key does not open, 2 the call or a file is wrong`,
		Args: exactArgs(1, "a checkpoint or a bundle"),
		RunE: func(cmd *cobra.Command, args []string) error { return a.countersign(cmd.Context(), args[0], f) },
	}
	cmd.Flags().StringVar(&f.key, "key", "", "your OpenSSH Ed25519 private key file")
	cmd.Flags().StringVar(&f.name, "name", "", "the name that your signature carries, such as scrutineer.example/2027")
	cmd.Flags().StringVarP(&f.output, "output", "o", "", "write it to this file, which must not exist yet")
	return cmd
}

func (a *app) countersign(ctx context.Context, file string, f countersignFlags) error {
	if f.key == "" || f.name == "" || f.output == "" {
		return diag.Bad("hvproof countersign FILE --key KEY --name NAME -o NEW", "--key, --name and --output are all needed")
	}
	src, err := openSource(file)
	if err != nil {
		return err
	}
	defer src.close()
	sign := func(checkpoint []byte, at time.Time, key ed25519.PrivateKey) ([]byte, bundle.Cosigner, error) {
		raw, who, err := bundle.Cosign(checkpoint, f.name, key, at)
		if err != nil {
			err = diag.Bad("", "%s: %v", file, err)
		}
		return raw, who, err
	}
	if src.bundle != nil {
		return a.countersignBundle(ctx, src, f, sign)
	}
	raw, err := readSmall(file)
	if err != nil {
		return err
	}
	own, _, err := bundle.SplitCheckpoint(raw)
	if err != nil {
		return diag.Bad("name a checkpoint, exactly as hvproof log --json gives it, or a bundle", "%s: %v", file, err)
	}
	at, err := a.cosigningTime(own)
	if err != nil {
		return err
	}
	key, err := a.ownKey(f.key)
	if err != nil {
		return err
	}
	signed, who, err := sign(raw, at, key)
	if err != nil {
		return err
	}
	if err := writeNew(f.output, func(w io.Writer) error { _, err := w.Write(signed); return err }); err != nil {
		return err
	}
	a.warnf("a checkpoint alone says nothing of the entries behind it; countersign a bundle where you can")
	a.countersigned(who, f.output)
	return nil
}

// countersignBundle signs every checkpoint of a bundle that has no fault.
func (a *app) countersignBundle(ctx context.Context, src *source, f countersignFlags, sign func([]byte, time.Time, ed25519.PrivateKey) ([]byte, bundle.Cosigner, error)) error {
	b := src.bundle
	if err := wholeBundle(ctx, b); err != nil {
		return err
	}
	key, err := a.ownKey(f.key)
	if err != nil {
		return err
	}
	c := bundle.Contents{Storage: b, Origins: b.Logs, Made: b.Made, Program: b.Program, Cosigned: map[string]bundle.Cosigned{}}
	for _, file := range b.Files {
		data, _, err := b.File(file.Name)
		if err != nil {
			return err
		}
		c.Files = append(c.Files, bundle.NamedBytes{Name: file.Name, Data: data})
	}
	var who bundle.Cosigner
	for _, origin := range b.Logs {
		has := b.Cosigned(origin)
		at, err := a.cosigningTime(has.Checkpoint)
		if err != nil {
			return err
		}
		if has.Checkpoint, who, err = sign(has.Checkpoint, at, key); err != nil {
			return err
		}
		has.By = append(has.By, who)
		c.Cosigned[origin] = has
	}
	if err := writeNew(f.output, func(w io.Writer) error { return bundle.Write(ctx, w, c) }); err != nil {
		return err
	}
	a.countersigned(who, f.output)
	return nil
}

// wholeBundle refuses a bundle with faults.
func wholeBundle(ctx context.Context, b *bundle.Bundle) error {
	var reports []ledger.Report
	refuse := func(f ledger.Finding) error {
		return diag.No("hvproof verify says more", "it does not verify: entry %d: %s: %s", f.Entry, f.Code, f.Sentence)
	}
	for _, origin := range b.Logs {
		r, err := ledger.Verify(ctx, b, origin, ledger.VerifyOptions{})
		if err != nil {
			return err
		}
		if !r.OK() {
			return refuse(r.Faults[0])
		}
		reports = append(reports, r)
	}
	if found := b.Check(reports); len(found) > 0 {
		return refuse(found[0].Finding)
	}
	return nil
}

// cosigningTime is the time that a cosignature says: by HVPROOF_NOW only for
// practice.
func (a *app) cosigningTime(checkpoint []byte) (time.Time, error) {
	own, _, err := bundle.SplitCheckpoint(checkpoint)
	if err != nil {
		return time.Time{}, diag.Bad("", "the log has no checkpoint that could be signed: %v", err)
	}
	c, err := ledger.ParseCheckpoint(own)
	if err != nil {
		return time.Time{}, err
	}
	o, err := entry.ParseOrigin(c.Origin)
	if err != nil {
		return time.Time{}, err
	}
	clock, err := a.clock(o.Practice)
	if err != nil {
		return time.Time{}, err
	}
	return clock.Now(), nil
}

// ownKey reads a key file of the user's own, asking for its passphrase.
func (a *app) ownKey(name string) (ed25519.PrivateKey, error) {
	file, err := readSmall(name)
	if err != nil {
		return nil, err
	}
	key, err := home.ReadKeyFile(file, func() ([]byte, error) { return a.passphrase(name) })
	switch {
	case errors.Is(err, home.ErrPassphrase):
		return nil, diag.No("", "%s: wrong passphrase", name)
	case err != nil && diag.ClassOf(err) == diag.ClassMachine:
		return nil, diag.Bad("make one with: ssh-keygen -t ed25519", "%s: %v", name, err)
	}
	return key, err
}

func (a *app) countersigned(who bundle.Cosigner, file string) {
	a.sayf("countersigned, written to %s", file)
	a.sayf("your key, to be given to whoever checks it: %s", who.VKey())
	a.sayf("its fingerprint in digits: %s", people.Fingerprint(who.Key))
}

// readSmall reads a file of a few lines.
func readSmall(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, diag.Bad("", "%v", err)
	}
	defer f.Close()
	raw, err := io.ReadAll(io.LimitReader(f, maxNote))
	if err != nil {
		return nil, diag.Machine("", "%v", err)
	}
	return raw, nil
}

// readCosigner reads the public key of a cosigner: name+hash+base64, or an
// OpenSSH public key file, which has no name.
func readCosigner(name string) (bundle.Cosigner, error) {
	if name == "" {
		return bundle.Cosigner{}, nil
	}
	if who, err := bundle.ParseCosigner(name); err == nil {
		return who, nil
	}
	raw, err := readSmall(name)
	if err != nil {
		return bundle.Cosigner{}, err
	}
	raw = bytes.TrimSpace(raw)
	if who, err := bundle.ParseCosigner(string(raw)); err == nil {
		return who, nil
	}
	key, err := home.ReadPublicKey(raw)
	if err != nil {
		return bundle.Cosigner{}, diag.Bad("name the line that countersign printed, or the .pub file of the key", "--cosigner %s: %v", name, err)
	}
	return bundle.Cosigner{Key: key}, nil
}
