package main

import (
	"context"
	"time"

	"hvproof/internal/bundle"
	"hvproof/internal/diag"
	"hvproof/internal/ledger"
	"hvproof/internal/people"
)

// besideLogs gives the faults of a bundle that its logs cannot tell. Those
// that concern a log go to the log. The report is made again only where
// nothing else is wrong: it would be that of a faulty record.
func (a *app) besideLogs(ctx context.Context, src *source, all []verified) ([]ledger.Finding, error) {
	b, page := src.bundle, src.page
	var reports []ledger.Report
	faults := 0
	for _, v := range all {
		reports = append(reports, v.Report)
		faults += len(v.Faults)
	}
	var out []ledger.Finding
	for _, f := range b.Check(reports) {
		faults++
		out = append(out, f.Finding)
	}
	if page != nil {
		out = append(out, page.states()...)
		wrong, remark, err := page.check(ctx)
		if err != nil {
			return nil, err
		}
		src.compared = comparedWith(page.made.Version, wrong)
		if wrong != "" {
			out = append(out, ledger.Finding{Code: ledger.AlteredBlob, Sentence: wrong})
		}
		a.sayf("%s", remark)
		return out, nil
	}
	if faults > 0 {
		return out, nil
	}
	wrong, remark, err := a.checkReport(ctx, b)
	if err != nil {
		return nil, err
	}
	if wrong != "" {
		out = append(out, ledger.Finding{Code: ledger.AlteredBlob, Sentence: wrong})
	}
	if remark != "" {
		a.sayf("%s", remark)
	}
	return out, nil
}

// cosignedBy gives a fault unless what the log is held against is
// countersigned with that key; with no key it says who claims to have signed.
func (g *against) cosignedBy(key string) ([]ledger.Finding, error) {
	who, err := readCosigner(key)
	if err != nil || who.Key == nil {
		return nil, err
	}
	found := false
	switch {
	case g.cosigned != nil:
		_, list, err := bundle.SplitCheckpoint(g.cosigned)
		if err != nil {
			return nil, err
		}
		for _, c := range list {
			by := who
			if by.Name == "" {
				by.Name = c.Name
			}
			found = found || c.By(by, g.cosigned)
		}
	case g.copy != nil && g.copy.bundle != nil:
		found = true
		for _, origin := range g.copy.bundle.Logs {
			signed := false
			for _, c := range g.copy.bundle.Countersigned(origin) {
				signed = signed || c.Cosigner.Key.Equal(who.Key) && (who.Name == "" || who.Name == c.Cosigner.Name)
			}
			found = found && signed
		}
	default:
		return nil, diag.Bad("name a countersigned checkpoint or bundle with --against", "--cosigner needs something that is countersigned")
	}
	if found {
		return nil, nil
	}
	return []ledger.Finding{{Code: ledger.BadCheckpoint, Sentence: "what it is held against is not countersigned with the key given"}}, nil
}

// printCountersigned says who countersigned a log's checkpoint.
func (a *app) printCountersigned(b *bundle.Bundle, origin string) {
	for _, c := range b.Countersigned(origin) {
		a.printf("countersigned by %s at %s, by that person's clock\n  %14s %s\n", c.Cosigner.Name,
			c.Time.Format(time.RFC3339), "", people.Fingerprint(c.Cosigner.Key))
	}
}
