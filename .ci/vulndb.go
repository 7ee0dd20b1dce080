// Command vulndb turns the reports of the module golang.org/x/vulndb into the
// folder that govulncheck reads with -db: go run .ci/vulndb.go SOURCE TARGET.
package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"sort"
)

type report struct {
	ID       string `json:"id"`
	Modified string `json:"modified"`
	Aliases  []string
	Affected []struct {
		Package struct {
			Name string `json:"name"`
		} `json:"package"`
		Ranges []struct {
			Events []map[string]string `json:"events"`
		} `json:"ranges"`
	} `json:"affected"`
}

type affected struct {
	ID       string `json:"id"`
	Modified string `json:"modified"`
	Fixed    string `json:"fixed,omitempty"`
}

type module struct {
	Path  string     `json:"path"`
	Vulns []affected `json:"vulns"`
}

type vuln struct {
	ID       string   `json:"id"`
	Modified string   `json:"modified"`
	Aliases  []string `json:"aliases,omitempty"`
}

func main() {
	if err := convert(os.Args[1], os.Args[2]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func convert(source, target string) error {
	files, err := filepath.Glob(filepath.Join(source, "data", "osv", "*.json"))
	if err != nil || len(files) == 0 {
		return fmt.Errorf("no reports in %s: %v", source, err)
	}
	for _, dir := range []string{"ID", "index"} {
		if err := os.MkdirAll(filepath.Join(target, dir), 0o755); err != nil {
			return err
		}
	}
	modules, newest := map[string]*module{}, ""
	var vulns []vuln
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			return err
		}
		var r report
		if err := json.Unmarshal(b, &r); err != nil {
			return fmt.Errorf("%s: %w", f, err)
		}
		if err := os.WriteFile(filepath.Join(target, "ID", r.ID+".json"), b, 0o644); err != nil {
			return err
		}
		newest = max(newest, r.Modified)
		vulns = append(vulns, vuln{r.ID, r.Modified, r.Aliases})
		for _, a := range r.Affected {
			m := modules[a.Package.Name]
			if m == nil {
				m = &module{Path: a.Package.Name}
				modules[a.Package.Name] = m
			}
			fixed := ""
			for _, rg := range a.Ranges {
				for _, e := range rg.Events {
					fixed = max(fixed, e["fixed"])
				}
			}
			m.Vulns = append(m.Vulns, affected{r.ID, r.Modified, fixed})
		}
	}
	var list []*module
	for _, m := range modules {
		list = append(list, m)
	}
	sort.Slice(list, func(i, j int) bool { return list[i].Path < list[j].Path })
	for name, v := range map[string]any{"db": map[string]string{"modified": newest}, "modules": list, "vulns": vulns} {
		b, err := json.Marshal(v)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(target, "index", name+".json"), b, 0o644); err != nil {
			return err
		}
	}
	return nil
}
