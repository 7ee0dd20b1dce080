package bay

import (
	"strings"

	"hvproof/internal/run"
)

// A section is a chunk of steps that belong together.
type section struct {
	Key, Title string
	Items      []item
	Done       int
}

type item struct {
	Text, State, Decision string
}

// progress tells what is done and what is left.
func (s *Server) progress(v *runView, m *run.Machine, p run.Prompt, steps []run.StepResult) {
	key := ""
	if p.Step != nil {
		key = sectionKey(p.Step.Path)
		v.Section = &section{Key: key, Title: s.words.maybe("section "+key, sentence(key))}
	}
	var last *attempt
	for i, st := range steps {
		if st.Step.NotApplicable != "" {
			continue
		}
		now := p.Step != nil && p.Step.Path == st.Step.Path
		state := "left"
		switch {
		case now:
			state = "now"
		case len(st.Attempts) > 0 || st.Failed:
			state = "done"
			v.Done++
		}
		for k := range st.Attempts {
			if last == nil || st.Attempts[k].Index > last.Index {
				a := attemptOf(st, k)
				last = &a
			}
		}
		if p.Step != nil && sectionKey(st.Step.Path) == key && (v.Section.near(i, m, p)) {
			v.Section.Items = append(v.Section.Items, item{st.Step.Text, state, decisionOf(st)})
		}
	}
	v.Recorded = last
	if v.Section != nil && (strings.HasPrefix(key, "sign_in") || strings.HasPrefix(key, "time_out") || strings.HasPrefix(key, "sign_out")) {
		v.Stop = key
	}
}

// near keeps the list of a section short where it has hundreds of steps.
func (s *section) near(i int, m *run.Machine, p run.Prompt) bool {
	at, _ := m.Plan().Step(p.Step.Path)
	return i >= at-6 && i <= at+6
}

func decisionOf(st run.StepResult) string {
	if st.Failed {
		return run.Failed
	}
	if st.Decision == run.NotDone {
		return ""
	}
	return st.Decision
}

// sectionKey is the first part of a step's path: the block or the loop's item.
func sectionKey(path string) string {
	key, _, more := strings.Cut(path, ".")
	if !more {
		return "steps"
	}
	return key
}

func sentence(key string) string {
	text := strings.ReplaceAll(key, "_", " ")
	if text == "" {
		return text
	}
	return strings.ToUpper(text[:1]) + text[1:]
}
