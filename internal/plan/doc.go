// Package plan holds the frozen plan of a run and its exact text.
package plan
