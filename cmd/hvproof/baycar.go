package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"hvproof/internal/bay"
	"hvproof/internal/carfolder"
	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/form"
	"hvproof/internal/ledger"
	"hvproof/internal/people"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

// bayCar gives the page what it needs of a session: the same functions that
// the other commands call.
type bayCar struct {
	*session
	folder *carfolder.Folder
	fault  error
	stamp  string                  // of the files that folder was read from
	reqs   []readiness.Requirement // of folder
	traces traces                  // read lately
}

// Folder gives the files as they are now; they are read again when one of
// them has changed.
func (c *bayCar) Folder() (*carfolder.Folder, error) {
	stamp, err := stampOf(c.root)
	if err != nil {
		return nil, diag.Machine("", "%v", err)
	}
	if stamp != c.stamp {
		c.folder, c.fault = c.load()
		c.stamp, c.reqs = stamp, nil
	}
	return c.folder, c.fault
}

// stampOf tells one state of the car folder's files from another, by their
// names, sizes and times.
func stampOf(root string) (string, error) {
	var b strings.Builder
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return nil
		case err != nil:
			return err
		case d.IsDir() && path != root && d.Name() != "procedures" && d.Name() != "rules":
			return fs.SkipDir
		case filepath.Ext(path) != ".yaml":
			return nil
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		b.WriteString(path + " " + info.ModTime().Format(time.RFC3339Nano) + " " + time.Duration(info.Size()).String() + "\n")
		return nil
	})
	return b.String(), err
}

// Practice reports whether the log says practice.
func (c *bayCar) Practice() bool { return c.practice }

// History gives all runs.
func (c *bayCar) History() *run.History { return c.history }

// People gives those who may act in a role.
func (c *bayCar) People(role people.Role) []string { return c.names(role) }

// Persons gives every key that counts now.
func (c *bayCar) Persons() []people.Person {
	return slices.DeleteFunc(c.people.Persons(), func(p people.Person) bool {
		now, ok := c.people.Current(p.ID)
		return !ok || now.From != p.From
	})
}

// Ready gives what hvproof ready prints.
func (c *bayCar) Ready() (bay.Ready, error) {
	folder, err := c.Folder()
	if err != nil {
		return bay.Ready{}, err
	}
	if c.reqs == nil {
		c.reqs = folder.Requirements(c.practice)
	}
	proofs, err := c.proofs(c.reqs)
	if err != nil {
		return bay.Ready{}, err
	}
	r := bay.Ready{Reasons: c.unready(folder, proofs)}
	r.May = len(r.Reasons) == 0
	for _, p := range proofs {
		d := proofJSON(p)
		d.Reason = onPage(d.Reason, d.Procedure)
		r.Proofs = append(r.Proofs, bay.Proof{ID: d.ID, State: d.State, Stage: d.Stage, Procedure: d.Procedure, Reason: d.Reason,
			Run: d.Run, Until: d.Until, Required: d.Required, OK: p.OK(), Parts: d.Parts})
	}
	doc := c.readyJSON(proofs, r.Reasons)
	for _, i := range doc.OpenItems {
		r.Items = append(r.Items, bay.Item{ID: i.ID, Kind: i.Kind, Text: i.Text, Parts: i.Parts, Blocks: i.Blocks, Lacks: i.Lacks,
			Closes: i.Kind != "nonconformance", Joint: i.Kind == readiness.Joint})
	}
	for _, t := range doc.Retest {
		r.Retest = append(r.Retest, bay.Retest{Procedure: t.Procedure, Title: t.Title, Whole: t.Whole, Items: t.Items, Proofs: t.Proofs,
			Why: onPage(t.Why, t.Procedure), People: t.People, Minutes: t.Minutes})
	}
	return r, nil
}

// onPage leaves out the command that goes on: how, the page says itself.
func onPage(reason, procedure string) string {
	if reason == "hvproof run "+procedure {
		return ""
	}
	return reason
}

// Prepare makes a run ready to begin, as hvproof run does.
func (c *bayCar) Prepare(choice bay.Choice) (run.Start, []string, error) {
	folder, err := c.Folder()
	if err != nil {
		return run.Start{}, nil, err
	}
	f := runFlags{operator: choice.Operator, witness: choice.Witness, releaser: choice.Releaser, others: choice.Others, retest: choice.Retest}
	for role, id := range choice.Instruments {
		f.with = append(f.with, role+"="+id)
	}
	slices.Sort(f.with)
	start, err := c.prepare(folder, choice.Procedure, f, nil)
	if err != nil {
		return start, nil, err
	}
	return start, c.refusals(start, folder), nil
}

// Begin records the beginning of a run.
func (c *bayCar) Begin(start run.Start) error {
	_, err := c.beginRun(start)
	return c.afresh(err)
}

// Cooling gives the prompt that asks to wait for a resistor, as hvproof run
// does.
func (c *bayCar) Cooling(m *run.Machine, p run.Prompt) (run.Prompt, bool) { return c.cooling(m, p) }

// Waited refuses an answer to it.
func (c *bayCar) Waited(m *run.Machine, ask run.Prompt, text string) *run.Refused {
	return c.waited(m, ask, text)
}

// CloseItem closes an open item with the evidence, as hvproof item close does.
func (c *bayCar) CloseItem(id, by string, said map[string]string) (entry.Entry, error) {
	item, f, err := c.closing(id, by, said)
	if err != nil {
		return entry.Entry{}, err
	}
	if item.Origin != c.origin { // go on with it here, then close it
		e, err := c.Commit(readiness.CarryBody(item), by)
		if err != nil {
			return e, err
		}
		item = c.openItem(fmt.Sprintf("i%d", e.Index))
	}
	return c.Commit(readiness.CloseBody(item, f), by)
}

// CheckClose is what CloseItem would refuse.
func (c *bayCar) CheckClose(id, by string, said map[string]string) error {
	_, _, err := c.closing(id, by, said)
	return err
}

// closing gives an open item with the evidence that closes it.
func (c *bayCar) closing(id, by string, said map[string]string) (*readiness.OpenItem, *form.Form, error) {
	item := c.openItem(id)
	if item == nil {
		return nil, nil, diag.Bad("see what is open under Ready", "no item %q is open", id)
	}
	f := readiness.CloseForm(item, by)
	for x, more := f.Next(); more; x, more = f.Next() {
		var texts []string
		if text := strings.TrimSpace(said[x.Key]); text != "" {
			texts = []string{text}
		}
		if len(texts) == 0 && !x.Optional {
			return nil, nil, diag.Bad("it wants "+x.Wanted(), "%s: nothing was said", x.Ask)
		}
		if err := f.Take(texts); err != nil {
			return nil, nil, diag.Bad(x.Ask, "%v", err)
		}
	}
	return item, f, nil
}

// Closings gives how items were closed, newest first.
func (c *bayCar) Closings() []bay.Closing {
	var out []bay.Closing
	for _, x := range slices.Backward(c.record.Closings()) {
		b := bay.Closing{Entry: x.Index, ID: x.Item, Text: x.Text, Done: x.Done, Torque: x.Torque, Tool: x.Tool, Mark: x.Mark, By: x.By, SeenBy: x.SeenBy,
			When: x.Time.In(c.now().Location()).Format("2006-01-02 15:04"), Signer: x.Signer, Here: x.Origin == c.origin}
		for _, f := range x.Files {
			b.Files = append(b.Files, bay.ClosingFile{Name: f.Name, Digest: f.Digest})
		}
		out = append(out, b)
	}
	return out
}

// Unlock makes a person's key ready; the passphrase is asked whether or not it
// was ready before.
func (c *bayCar) Unlock(person string, passphrase []byte) error {
	if _, ok := c.people.Current(person); !ok {
		return diag.Bad("people with keys in this log: "+strings.Join(c.names(""), ", "), "%s has no key in this log", person)
	}
	key, err := c.personKey(person, func(string) ([]byte, error) { return passphrase, nil })
	if err != nil {
		return err
	}
	signer, err := ledger.NewSigner(person, key)
	if err == nil {
		c.keys[person] = signer
	}
	return err
}

// Lock forgets a person's key.
func (c *bayCar) Lock(person string) { c.lock(person) }

// Commit signs and stores an entry.
func (c *bayCar) Commit(body entry.Body, person string) (entry.Entry, error) {
	e, err := c.commit(body, person)
	if err == nil {
		name := e.Path
		if name == "" {
			name = string(e.Kind)
		}
		c.app.sayf("recorded %s %d", name, e.Index)
	}
	return e, c.afresh(err)
}

// afresh reads the log again after an error: whether the entry is in it, only
// the log can tell.
func (c *bayCar) afresh(err error) error {
	if err == nil {
		return nil
	}
	c.people = people.Register{}
	if ferr := c.fold(); ferr != nil {
		return errors.Join(err, ferr)
	}
	return err
}

// Receive takes a file in.
func (c *bayCar) Receive(from io.Reader) (bay.File, error) { return c.store.Receive(c.ctx, from) }

// Blob gives a file's content.
func (c *bayCar) Blob(digest [32]byte) ([]byte, error) { return c.store.Blob(c.ctx, digest) }

// Now is the time as entries have it.
func (c *bayCar) Now() time.Time { return c.now() }
