package readiness

import "hvproof/internal/form"

// EndForm asks why a grant ends.
func EndForm() *form.Form {
	return form.New(form.Field{Key: "reason", Ask: "Why does it end now? One sentence.", Example: "the last run is done, the car is made safe"})
}
