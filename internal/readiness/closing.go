package readiness

import (
	"strconv"
	"time"

	"hvproof/internal/entry"
)

// A Closing is the evidence with which an item was closed.
type Closing struct {
	Ref
	Item                                 string // its id; with its log's short name where that is not the newest one
	Text                                 string // what the item was; empty for a step or a seal
	Done, Torque, Tool, Mark, By, SeenBy string
	Signer                               string
	Time                                 time.Time
	Files                                []ClosingFile // named by later notes
	index                                int64
}

// A ClosingFile is a photograph that a note gives to a closing.
type ClosingFile struct {
	Name, Digest string // SHA-256, hex
	Signer       string
}

// Closings gives how items were closed, oldest first.
func (r *Record) Closings() []*Closing {
	for _, c := range r.ledger.closings {
		c.Item = named("i", c.index, r.otherLog(c.Ref))
	}
	return r.ledger.closings
}

func (l *ledgers) close(e entry.Entry, ref Ref, item [32]byte, signer string) {
	b := e.Body
	c := &Closing{Ref: ref, Done: b.Text("text"), Torque: b.Text("torque"), Tool: b.Text("tool"), Mark: b.Text("mark"), By: b.Text("by"), SeenBy: b.Text("seen-by"),
		Signer: signer, Time: e.Time}
	c.index, _ = strconv.ParseInt(b.Text("entry"), 10, 64)
	if i := l.itemAt[item]; i != nil {
		c.Text = i.Text
	}
	l.closed[item], l.closings = c.Done, append(l.closings, c)
}

// file takes a note that names the entry of a closing.
func (l *ledgers) file(e entry.Entry, signer string) {
	index, err := strconv.ParseInt(e.Body.Text("entry"), 10, 64)
	digest := e.Body.Text("file")
	if err != nil || digest == "" {
		return
	}
	for _, c := range l.closings {
		if c.Origin == e.Origin && c.Index == index {
			c.Files = append(c.Files, ClosingFile{Name: e.Body.Text("name"), Digest: digest, Signer: signer})
		}
	}
}
