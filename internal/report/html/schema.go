package html

import (
	"encoding/json"

	"hvproof/internal/entry"
	"hvproof/internal/people"
)

var needs = map[entry.Need]string{entry.Required: "required", entry.Optional: "optional", entry.Numbered: "numbered"}

// Schema gives what the script needs to know of the kinds of entries: their
// fields, and who may sign them.
func Schema() []byte {
	type field struct {
		Name  string   `json:"name"`
		Type  string   `json:"type"`
		Need  string   `json:"need"`
		Words []string `json:"words,omitempty"`
	}
	schema, rights := map[string][]field{}, map[string][]people.Role{}
	for _, k := range entry.Kinds() {
		specs, _ := entry.Schema(k)
		fields := []field{}
		for _, s := range specs {
			fields = append(fields, field{s.Name, s.Type.String(), needs[s.Need], s.Words})
		}
		schema[string(k)] = fields
		if roles := people.MayDo(k); len(roles) > 0 {
			rights[string(k)] = roles
		}
	}
	b, err := json.Marshal(map[string]any{"schema": schema, "rights": rights})
	if err != nil {
		panic(err) // strings only
	}
	return b
}
