//go:build !unix

package capture

import "time"

// cpuTime is not known here.
func cpuTime() time.Duration { return 0 }
