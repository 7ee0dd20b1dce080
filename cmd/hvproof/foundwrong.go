package main

import (
	"context"
	"slices"
	"strings"
	"time"

	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/readiness"
)

// foundWrong records that a meter was found wrong, and judges every result
// that it has touched again.
func (a *app) foundWrong(ctx context.Context, id, by string, f readiness.MeterFault) error {
	s, err := a.write(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	folder, err := s.load()
	if err != nil {
		return err
	}
	in, ok := folder.Instrument(id)
	if !ok {
		return diag.Bad("instruments: "+instrumentIDs(folder.Instruments), "there is no instrument %q", id)
	}
	if f.Since != "" {
		if t, err := time.Parse(time.DateOnly, f.Since); err != nil || t.Format(time.DateOnly) != f.Since {
			return diag.Bad("write it as 2027-03-20", "--since %q is not a date", f.Since)
		}
	}
	if today := s.record.Now(s.now()).Format(time.DateOnly); f.Since > today {
		return diag.Bad("name the day of its last good check, or leave --since out", "--since %s: is after today, %s, and would touch no result", f.Since, today)
	}
	var functions []string
	for _, fn := range in.Functions {
		functions = append(functions, fn.Name)
	}
	if f.Function != "" && !slices.Contains(functions, f.Function) {
		return diag.Bad("its functions: "+strings.Join(functions, ", "), "--function %q: %s has no such function, and no result would be touched", f.Function, id)
	}
	if strings.TrimSpace(f.Text) == "" {
		return diag.Bad("say it with --text", "nothing was said about what was found")
	}
	if by, err = s.signer(by, nil, "", ""); err != nil {
		return err
	}
	f.Instrument = id
	touched := f.Touched(s.facts())
	b := entry.Body{Kind: entry.MeterFault}
	b.Add("instrument", id)
	b.Add("since", f.Since)
	b.Add("function", f.Function)
	b.Add("text", f.Text)
	if f.Known() {
		b.AddNumber("factor", f.Factor)
		b.AddNumber("offset", f.Offset)
	}
	var touches []string
	for _, t := range touched {
		touches = append(touches, t.Run+" "+t.Path+": "+t.After)
	}
	b.AddFamily("touches", touches...)
	e, err := s.recordBy(b, by)
	if err != nil {
		return err
	}
	type document struct {
		Run       string `json:"run"`
		Procedure string `json:"procedure"`
		Path      string `json:"step"`
		Said      string `json:"said"`
		Before    string `json:"before"`
		After     string `json:"after"`
		Why       string `json:"why"`
	}
	docs := []document{}
	for _, t := range touched {
		docs = append(docs, document(t))
	}
	if a.json {
		return a.document(map[string]any{"entry": e.Index, "instruments": []instrumentDocument{}, "touched": docs})
	}
	a.printf("%s since its last good check\n", number(len(docs), "result was read with it", "results were read with it"))
	for _, t := range docs {
		a.printf("  %-16s %-20s %-30s %-18s %s, was %s\n", t.Run, t.Procedure, t.Path, t.Said, t.After, t.Before)
	}
	return nil
}
