// Package checklists holds the files that a new car folder starts with: the
// procedures, step blocks, rule sets, warning texts and templates, and the
// demo car with its recorded answers.
//
// Everything in it is text that a shop may edit after it was copied into its
// own car folder. The formats are described beside the packages that read
// them: vehicle, rules, procedure, measure.
package checklists

import "embed"

// Files are the embedded files, by their paths in this directory:
//
//	procedures/*.yaml  procedures and step blocks
//	rules/*.yaml       rule sets
//	cautions.yaml      warning texts and protective equipment
//	rework.yaml        what work on the HV system does to the proofs
//	templates/*.yaml   vehicle, people and instruments of a new car folder
//	demo/*             the demo car, the order of its runs, and their answers
//
//go:embed procedures rules templates demo cautions.yaml rework.yaml
var Files embed.FS
