package main

import (
	"reflect"
	"slices"
	"strconv"
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
	"hvproof/internal/rework"
)

// Dialogue opens a form of the page: those that rework, item and permit have
// answered at a terminal.
func (c *bayCar) Dialogue(what, of string) (*bay.Dialogue, error) {
	folder, err := c.Folder()
	if err != nil {
		return nil, err
	}
	d := &bay.Dialogue{What: what, Of: of, Signers: c.names(""), From: c.entries, Then: "/"}
	switch what {
	case "work":
		c.workDialogue(d, folder)
	case "item":
		c.itemDialogue(d, folder)
	case "decide":
		err = c.decideDialogue(d)
	case "sanction", "permit":
		err = c.grantDialogue(d, folder)
	case "baseline":
		err = c.baselineDialogue(d)
	case "end":
		err = c.endDialogue(d)
	default:
		err = diag.Bad("", "there is no form %q", what)
	}
	return d, err
}

func (c *bayCar) workDialogue(d *bay.Dialogue, folder *carfolder.Folder) {
	v := folder.Vehicle
	d.Photos, d.Then, d.Labels = rework.KeyPhotos, "/work", map[string]string{}
	for _, w := range folder.Rework.Works() {
		d.Labels[w.ID] = w.Title
	}
	d.Form = func(string) *form.Form { return folder.Rework.Form(v, v.Part, v.Env().Names()) }
	d.Offers = func(key string, f *form.Form) []string {
		switch key {
		case rework.KeyParts:
			kind, _ := folder.Rework.Work(f.Get(rework.KeyWork))
			return slices.DeleteFunc(v.Parts(), func(part string) bool {
				collection, _, _ := strings.Cut(part, ".")
				return !kind.Touches(rework.Any) && !kind.Touches(part) && !kind.Touches(collection)
			})
		case rework.KeyBy:
			return c.names("")
		case rework.KeyDone:
			return []string{c.now().Format("2006-01-02 15:04")}
		}
		return nil
	}
	d.Effects = func(f *form.Form) []bay.Effect {
		var out []bay.Effect
		for _, x := range c.effects(folder, f) {
			out = append(out, bay.Effect{Proof: x.Proof, Parts: x.Parts, Reason: x.Reason, Kept: x.Kept})
		}
		return out
	}
	d.Record = func(d *bay.Dialogue, f *form.Form, signer string, photos [][32]byte) error {
		return c.once(d, readiness.WorkBody(f, c.effects(folder, f), photos), signer)
	}
}

func (c *bayCar) effects(folder *carfolder.Folder, f *form.Form) []rework.Effect {
	return folder.Rework.Effects(folder.Vehicle, f.Get(rework.KeyWork), f.All(rework.KeyParts), folder.ProofParts(c.practice))
}

func (c *bayCar) itemDialogue(d *bay.Dialogue, folder *carfolder.Folder) {
	d.Form = func(string) *form.Form { return readiness.AddForm(folder.Vehicle.Part) }
	d.Offers = func(key string, _ *form.Form) []string {
		if key == "parts" {
			return folder.Vehicle.Parts()
		}
		return nil
	}
	d.Record = func(d *bay.Dialogue, f *form.Form, signer string, _ [][32]byte) error {
		return c.once(d, readiness.AddBody(f.Get("item"), f.Get("text"), f.Get("blocks"), f.All("parts")), signer)
	}
}

func (c *bayCar) decideDialogue(d *bay.Dialogue) error {
	all := readiness.Nonconformances(c.facts())
	i := slices.IndexFunc(all, func(n *readiness.Nonconformance) bool { return n.ID() == d.Of })
	if i < 0 {
		return diag.Bad("see what is open under Ready", "there is no nonconformance %q", d.Of)
	}
	n := all[i]
	d.About, d.Signers = n.Procedure+", "+n.Text, c.names(people.Releaser)
	d.Form = func(string) *form.Form { return readiness.DecideForm() }
	d.Record = func(d *bay.Dialogue, f *form.Form, signer string, _ [][32]byte) error {
		if n.Origin != c.origin { // let it stand here, then decide
			if err := c.once(d, readiness.StandBody(n), signer); err != nil {
				return err
			}
			at := c.entries - 1
			leaf, err := c.leaf(at)
			if err != nil {
				return err
			}
			n.Ref = readiness.Ref{Origin: c.origin, Index: at, Leaf: leaf}
		}
		return c.once(d, readiness.DecideBody(n, f), signer)
	}
	return nil
}

// grantDialogue is about a sanction for test of one live procedure, or a
// permit to energise. A permit is forced, and a second copy written, at the
// machine alone.
func (c *bayCar) grantDialogue(d *bay.Dialogue, folder *carfolder.Folder) error {
	sanction := d.What == "sanction"
	if !sanction {
		d.Of = ""
	}
	proofs, why, err := c.against(folder, d.Of)
	if err != nil {
		return err
	}
	if sanction {
		if p, ok := folder.Library.Procedure(d.Of); ok {
			d.About = p.Title
		}
	}
	d.Why, d.Signers, d.Second, d.Then = why, c.names(people.Releaser), "second", "/permits"
	d.Form = func(signer string) *form.Form {
		return readiness.GrantForm(sanction, c.names(""), signer, c.record.Now(c.now()))
	}
	d.Offers = func(key string, f *form.Form) []string {
		if key == "people" || key == "second" {
			return c.names("")
		}
		return nil
	}
	d.Record = func(d *bay.Dialogue, f *form.Form, signer string, _ [][32]byte) error {
		if err := c.verifyWhole(); err != nil {
			return err
		}
		body := readiness.SanctionBody(d.Of, proofs, f)
		if !sanction {
			body = readiness.PermitBody(c.record.Now(c.now()).Format(time.DateOnly), proofs, nil, "", noCopy, f)
		}
		if err := c.once(d, body, signer); err != nil {
			return err
		}
		g := c.record.Grant(c.entries - 1)
		_, err := c.Commit(readiness.Countersign(g.Ref), f.Get(d.Second))
		return err
	}
	return nil
}

// baselineDialogue makes the runs that the proofs of now rest on the baseline.
func (c *bayCar) baselineDialogue(d *bay.Dialogue) error {
	runs, err := c.commissioning(nil)
	if err != nil {
		return err
	}
	var about []string
	for _, id := range runs {
		m, err := c.findRun(id)
		if err != nil {
			return err
		}
		about = append(about, m.Plan().Procedure+" "+id)
	}
	d.About, d.Signers, d.Second, d.Then = strings.Join(about, ", "), c.names(people.Releaser), "second", "/readings"
	d.Form = func(signer string) *form.Form { return readiness.BaselineForm(c.names(""), signer) }
	d.Offers = func(key string, _ *form.Form) []string {
		if key == "second" {
			return c.names("")
		}
		return nil
	}
	d.Record = func(d *bay.Dialogue, f *form.Form, signer string, _ [][32]byte) error {
		if err := c.once(d, readiness.BaselineBody(runs, f), signer); err != nil {
			return err
		}
		baselines := c.record.Baselines()
		_, err := c.Commit(readiness.Countersign(baselines[len(baselines)-1].Ref), f.Get(d.Second))
		return err
	}
	return nil
}

func (c *bayCar) endDialogue(d *bay.Dialogue) error {
	index, err := strconv.ParseInt(d.Of, 10, 64)
	g := c.record.Grant(index)
	if err != nil || g == nil || c.record.Over(g, c.now()) != "" {
		return diag.No("see what was granted", "nothing of that is in force")
	}
	d.About, d.Then = g.Procedure, "/permits"
	d.Form = func(string) *form.Form { return readiness.EndForm() }
	d.Record = func(d *bay.Dialogue, f *form.Form, signer string, _ [][32]byte) error {
		return c.once(d, readiness.EndBody(g.Ref, f.Get("reason")), signer)
	}
	return nil
}

// once records an entry unless the very same was recorded since the dialogue
// was begun: a form may come twice where a reply was lost.
func (c *bayCar) once(d *bay.Dialogue, body entry.Body, signer string) error {
	if d.From < c.entries {
		err := ledger.Read(c.ctx, c.store, c.origin, d.From, c.entries, func(index int64, e entry.Entry, by string, _ []byte) error {
			if by == signer && reflect.DeepEqual(e.Body, body) {
				return diag.No("the page shows what is on record", "%s %d says the same, since this form was begun: nothing was recorded anew", e.Kind, index)
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	_, err := c.Commit(body, signer)
	return err
}

// Works gives the recorded work on HV, newest first.
func (c *bayCar) Works() []bay.Work {
	folder, _ := c.Folder()
	var out []bay.Work
	for _, w := range slices.Backward(c.record.Works()) {
		x := bay.Work{Entry: w.Index, When: w.Time.In(c.now().Location()).Format("2006-01-02 15:04"), Title: strings.ReplaceAll(w.Kind, "_", " "), Text: w.Text,
			Reason: w.Reason, By: w.By, Done: w.Done, Signer: w.Signer, Seal: w.Seal, Parts: w.Parts, Found: w.Found, Left: w.Left, Values: w.Values, Photos: w.Photos}
		if folder != nil {
			if kind, ok := folder.Rework.Work(w.Kind); ok {
				x.Title = kind.Title
			}
		}
		for _, v := range w.Voids {
			x.Void = append(x.Void, bay.Effect{Proof: v.Proof, Parts: v.Parts, Reason: v.Reason})
		}
		out = append(out, x)
	}
	return out
}

// Grants gives every sanction and permit, newest first.
func (c *bayCar) Grants() []bay.Grant {
	var out []bay.Grant
	for _, g := range slices.Backward(c.record.Grants()) {
		d := c.grantJSON(g)
		x := bay.Grant{Entry: d.Entry, Permit: g.Permit, InForce: d.InForce, Procedure: d.Procedure, Barrier: d.Barrier, Until: d.Until, Reason: d.Reason,
			Over: d.Over, People: d.People, Conditions: d.Conditions, Forced: d.Forced, Proofs: d.Proofs, Signers: d.Signers}
		if d.Copy != noCopy {
			x.Copy = d.Copy
		}
		out = append(out, x)
	}
	return out
}
