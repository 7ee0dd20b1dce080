package run

import (
	"time"

	"hvproof/internal/measure"
	"hvproof/internal/people"
	"hvproof/internal/plan"
)

// PromptKind says what a prompt asks for.
type PromptKind string

// The kinds of a Prompt.
const (
	AskResume    PromptKind = "resume"    // after an interruption: the state of the car, before anything else
	AskAmbient   PromptKind = "ambient"   // temperature, humidity, wet or dry
	AskCaution   PromptKind = "caution"   // a caution, to be acknowledged in a word
	AskState     PromptKind = "state"     // the state of the car that the step needs
	AskStatement PromptKind = "statement" // confirm and observe
	AskReading   PromptKind = "reading"   // measure and time
	AskCapture   PromptKind = "capture"   // a waveform's file
	AskWait      PromptKind = "wait"      // how long was waited
	AskRelease   PromptKind = "release"   // a hold point
	AskAgain     PromptKind = "again"     // after a failed attempt: once more with a reason, or leave it failed
	AskWitness   PromptKind = "witness"   // the second person signs what was seen
	Automatic    PromptKind = "automatic" // nothing to ask: Answer(Answer{}) proposes the next entry
	Finished     PromptKind = "finished"  // the run is over and signed out
)

// Acknowledge is the word that acknowledges a caution; it is typed in full.
const Acknowledge = "understood"

// Released is the word by which a hold point is released.
const Released = "released"

// Seen is the word by which a witness confirms.
const Seen = "seen"

// A Prompt is what the machine wants next.
type Prompt struct {
	Kind PromptKind
	Key  string // the key in an answers file, such as "empty" or "empty:state"

	// Role and Person say whose key signs the entry that follows.
	Role   people.Role
	Person string

	Step   *plan.Step // nil for AskResume, Finished and the end of the run
	Number int        // 1-based number of the step among those that apply
	Total  int        // number of steps that apply

	Text    string       // the question, one sentence
	Texts   []plan.Text  // AskCaution: the cautions
	State   []plan.State // AskState: what must be so; AskResume: what was so when the record ends
	Choices []string     // words that may be answered

	Meter    *measure.Instrument // AskReading, AskCapture: the meter chosen for the step
	Function *measure.Function   // AskReading, AskCapture: its function
	Outlook  []Outlook           // AskReading: for each bound, whether the meter can decide
	OnScreen bool                // AskReading: a time read off a screen, to be given with its division

	Need      time.Duration // AskWait: how long is to be waited
	Attempt   int           // AskReading, AskStatement, AskWait: 1-based
	Last      string        // AskAgain: decision and reasons of the last attempt
	Found     []string      // AskAgain: those reasons by themselves
	NeedCause bool          // AskAgain: a third attempt needs a written cause
	NeedWord  bool          // AskAgain: a reason is wanted
	SignOut   bool          // the prompt belongs to the sign-out
}

// An Answer is what a person gave. Text is passed as typed.
type Answer struct {
	Text    string
	Confirm bool   // asked back once, and confirmed
	Reason  string // AskAgain: why once more; AskReading: a remark kept with the reading
	Cause   string // AskAgain: what the cause is thought to be, from the third attempt on
	Range   string // AskReading: the meter's range, such as "600 V"
	// Division is the division of the screen that a time was read off, "10 ms",
	// where Text does not give it.
	Division string
	File     []byte // AskCapture: the bytes of the file that Text names; its caller stores them as a blob first
	ReadAt   string // AskReading: a reading taken on paper earlier, RFC 3339

	Again    bool      // AskAgain: once more
	Decline  bool      // AskAgain: leave the step failed
	At       time.Time // when it was given, by the program's clock
	MakeSafe bool      // at any prompt: stop and make safe
	Leave    bool      // at any prompt: leave, to be resumed
}

// Refused is an answer that cannot be taken: nothing is recorded, and the
// same prompt stands.
type Refused struct {
	Key, Message, Hint string
}

// Error gives the key and what is wrong.
func (r *Refused) Error() string { return r.Key + ": " + r.Message }

// AskBack is an answer that must be confirmed before it is recorded: it may
// be a slip. Nothing is recorded yet.
type AskBack struct {
	Key       string
	ReadBack  string   // the value as understood, to be read aloud
	Questions []string // each one sentence
}

// Error gives the first question.
func (a *AskBack) Error() string { return a.Key + ": " + a.Questions[0] }
