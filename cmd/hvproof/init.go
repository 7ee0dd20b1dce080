package main

import (
	"context"
	"crypto/rand"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/spf13/cobra"

	"hvproof/internal/carfolder"
	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/home"
	"hvproof/internal/ledger"
	"hvproof/internal/people"
	"hvproof/store"
)

func newInitCommand(a *app) *cobra.Command {
	practice := false
	var name string
	cmd := &cobra.Command{
		Use:   "init DIR",
		Short: "make a car folder",
		Long: `Makes a car folder with a commented vehicle file, the built-in procedures and
rule sets. The log begins with the first person: hvproof person add ID.

With --practice the folder is for practice, now and for ever: people operator,
witness and releaser have keys inside the folder, runs may be answered from a
file, every page says PRACTICE, and nothing in it is evidence.`,
		Args: exactArgs(1, "the folder to make"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.init(cmd.Context(), args[0], name, practice)
		},
	}
	cmd.Flags().BoolVar(&practice, "practice", false, "a practice folder: works unattended, never evidence")
	cmd.Flags().StringVar(&name, "name", "", "the car's name")
	return cmd
}

func (a *app) init(ctx context.Context, dir, name string, practice bool) error {
	if strings.ContainsAny(name, "\n\r:#\"'") {
		return diag.Bad("use letters, digits and spaces", "--name %q cannot be a car's name", name)
	}
	if err := carfolder.Init(dir, name); err != nil {
		return err
	}
	if practice {
		if err := a.beginPractice(ctx, dir, []practicePerson{
			{"releaser", []people.Role{people.Releaser}},
			{"operator", []people.Role{people.Operator}},
			{"witness", []people.Role{people.Witness}},
		}); err != nil {
			return err
		}
	}
	a.sayf("made %s", dir)
	a.sayf("next: describe the car in %s, then: hvproof -C %s check", filepath.Join(dir, carfolder.VehicleFile), dir)
	if !practice {
		a.sayf("the log begins with the first person: hvproof -C %s person add ID", dir)
	}
	return nil
}

// practicePerson is a person of a practice folder; the first of a folder must
// be a releaser.
type practicePerson struct {
	id    string
	roles []people.Role
}

// beginPractice begins the log of a practice folder and brings its people in.
func (a *app) beginPractice(ctx context.Context, dir string, list []practicePerson) error {
	keys := home.OpenPractice(filepath.Join(dir, practiceKeys), rand.Reader)
	at := *a
	at.dir = dir
	for i, p := range list {
		if _, err := keys.CreatePersonKey(p.id); err != nil {
			return err
		}
		private, err := keys.PersonKey(p.id)
		if err != nil {
			return err
		}
		if i == 0 {
			if err := at.createLog(ctx, dir, person{p.id, p.roles, private}, true, nil); err != nil {
				return err
			}
			continue
		}
		if err := at.join(ctx, p, list[0].id, private); err != nil {
			return err
		}
	}
	return nil
}

func (a *app) join(ctx context.Context, p practicePerson, by string, key []byte) error {
	s, err := a.write(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	if err := s.unlock(by, a.passphrase); err != nil {
		return err
	}
	return s.introduce(p.id, p.roles, key, by)
}

// person is somebody with the private key at hand.
type person struct {
	id    string
	roles []people.Role
	key   []byte
}

// beginLog begins the log of a real folder with its first person.
func (a *app) beginLog(ctx context.Context, id string, roles []people.Role) error {
	dir, err := a.findFolder()
	if err != nil {
		return err
	}
	h, err := a.configuration()
	if err != nil {
		return err
	}
	key, err := a.newRealKey(h, id)
	if err != nil {
		return err
	}
	return a.createLog(ctx, dir, person{id, roles, key}, false, nil)
}

var notInOrigin = regexp.MustCompile(`[^a-z0-9]+`)

// createLog writes entry 0 of a new log: what it is about, whom trust starts
// with, and which log it goes on from, if any.
func (a *app) createLog(ctx context.Context, dir string, first person, practice bool, before *ledger.Predecessor) error {
	folder, problems := carfolder.Load(dir)
	if folder.Vehicle == nil {
		return faultyFiles(problems)
	}
	h, err := a.configuration()
	if err != nil {
		return err
	}
	device, err := h.DeviceID()
	if err != nil {
		return err
	}
	random, err := home.RandomID(rand.Reader)
	if err != nil {
		return err
	}
	car := strings.Trim(notInOrigin.ReplaceAllString(strings.ToLower(folder.Vehicle.Name()), "-"), "-")
	if car == "" {
		car = "car"
	}
	origin := entry.Origin{Car: car, Device: device, Random: random, Practice: practice}.String()
	private, err := h.CreateLogKey(origin)
	if err != nil {
		return err
	}
	logKey, err := ledger.NewSigner(origin, private)
	if err != nil {
		return err
	}
	signer, err := ledger.NewSigner(first.id, first.key)
	if err != nil {
		return err
	}
	clock, err := a.clock(practice)
	if err != nil {
		return err
	}
	st, err := store.Open(dir, store.Options{Holder: a.holder()})
	if err != nil {
		return err
	}
	defer st.Close()
	log, err := ledger.Open(ctx, st, origin, logKey, clock)
	if err != nil {
		return err
	}
	e, _, err := log.Append(ctx, startBody(folder, car, first, origin, private, practice, before), signer)
	if err != nil {
		return logError(err)
	}
	if err := h.Remember(origin, log.Checkpoint()); err != nil {
		return err
	}
	a.sayf("recorded %s %d: the log %s begins with %s", e.Kind, e.Index, origin, first.id)
	return nil
}
