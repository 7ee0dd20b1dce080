package bay

import (
	"sync"
	"time"
)

// A limit lets something go wrong a few times in a while: after that it is
// refused unlooked at until the while is over.
type limit struct {
	mu    sync.Mutex
	tries int
	while time.Duration
	now   func() time.Time
	wrong map[string][]time.Time
}

func newLimit(tries int, while time.Duration, now func() time.Time) *limit {
	return &limit{tries: tries, while: while, now: now, wrong: map[string][]time.Time{}}
}

// wait gives how long a key is still refused, 0 if it is not.
func (l *limit) wait(key string) time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	recent := l.recent(key)
	if len(recent) < l.tries {
		return 0
	}
	return recent[len(recent)-l.tries].Add(l.while).Sub(l.now())
}

// failed counts a wrong try.
func (l *limit) failed(key string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.wrong) > 1000 {
		clear(l.wrong) // never more than there are people and codes; else somebody invents names
	}
	l.wrong[key] = append(l.recent(key), l.now())
}

// passed forgets the wrong tries.
func (l *limit) passed(key string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.wrong, key)
}

func (l *limit) recent(key string) []time.Time {
	old := l.now().Add(-l.while)
	list := l.wrong[key]
	for len(list) > 0 && !list[0].After(old) {
		list = list[1:]
	}
	if len(list) == 0 {
		delete(l.wrong, key)
		return nil
	}
	l.wrong[key] = list
	return list
}
