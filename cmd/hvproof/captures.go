package main

import (
	"hvproof/internal/capture/feature"
	"hvproof/internal/diag"
)

// togetherDocument is a pre-charge and a discharge judged together.
type togetherDocument struct {
	Kind     string                       `json:"kind"`
	Features map[string]*quantityDocument `json:"features"`
	Findings []findingDocument            `json:"findings"`
	Notes    []string                     `json:"notes,omitempty"`
	Captures []captureDocument            `json:"captures"` // each by itself, the pre-charge first
}

// captures judges a pre-charge and a discharge of one link together.
func (a *app) captures(precharge, discharge string, f *captureFlags) error {
	if f.kind != "" || f.plot != "" {
		return diag.Bad("two files are a pre-charge and a discharge; draw each by itself", "--kind and --plot are for one file")
	}
	folder, err := a.captureFolder(f)
	if err != nil {
		return err
	}
	var both []*captured
	for _, c := range []struct{ name, kind string }{{precharge, feature.KindPrecharge}, {discharge, feature.KindDischarge}} {
		one, err := a.captured(c.name, c.kind, folder, f)
		if err != nil {
			return err
		}
		both = append(both, one)
	}
	var car *feature.Car
	if folder != nil {
		car = carOf(folder.Vehicle)
	}
	joint := feature.Together(both[0].Analysis, both[1].Analysis, car)
	d := togetherDocument{Kind: joint.Kind, Features: featuresJSON(joint.Features), Findings: findingsJSON(joint.Findings), Notes: joint.Notes}
	for _, c := range both {
		d.Captures = append(d.Captures, captureJSON(c.w, c.Analysis))
		// What one alone cannot tell, both have told.
		var left []feature.Finding
		for _, x := range c.Findings {
			if !joint.Superseded(x.Code) {
				left = append(left, x)
			}
		}
		c.Findings = left
		d.Findings = append(d.Findings, findingsJSON(left)...)
	}
	if a.json {
		return a.document(d)
	}
	for _, c := range both {
		a.printCapture(c)
		a.printf("\n")
	}
	a.printf("both together\n")
	a.printFound(joint)
	return nil
}
