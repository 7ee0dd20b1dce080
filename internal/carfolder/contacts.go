package carfolder

import (
	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/yamlfile"
)

// A Contact is a person's name and how to reach them. Keys and roles are in
// the log.
type Contact struct {
	ID, Name, Contact string
}

type contactsShape struct {
	Format string                     `yaml:"format" validate:"required,oneof=1"`
	People yamlfile.Map[contactShape] `yaml:"people"`
}

type contactShape struct {
	Name    string `yaml:"name" validate:"required"`
	Contact string `yaml:"contact"`
}

// readContacts reads people.yaml into f.
func (f *Folder) readContacts(all *diag.List) {
	y, faults := f.read("people.yaml")
	all.Append(faults)
	if y == nil || faults.Errors() {
		return
	}
	var shape contactsShape
	all.Append(y.Decode(&shape))
	for _, id := range shape.People.Keys() {
		if !entry.IsPerson(id.Text) {
			all.Add(y.At(id, "use small letters, digits, '.' and '-', such as r.mills", "%q is not a person's id", id.Text))
		}
		c, _ := shape.People.Get(id.Text)
		f.Contacts = append(f.Contacts, Contact{id.Text, c.Name, c.Contact})
	}
}

// Name gives a person's name, or the id where people.yaml has none.
func (f *Folder) Name(id string) string {
	for _, c := range f.Contacts {
		if c.ID == id {
			return c.Name
		}
	}
	return id
}
