package capture

import (
	"bytes"
	"errors"
	"io"
	"runtime"
	"sync"
)

// blockSize is how much text is parsed at a time, and the longest
// line. It is small enough to stay in the cache of a processor.
const blockSize = 1 << 18

// errLongLine is a line that no block holds.
var errLongLine = errors.New("a line of more than 250,000 characters")

// workers is how many parsers are at work.
func (o Options) workers() int {
	if o.Workers > 0 {
		return o.Workers
	}
	return runtime.GOMAXPROCS(0)
}

// stream cuts text into blocks of whole lines, has them parsed at the same
// time, and calls take with them in order. A block is used again after take.
// It returns the first error of text or take; all goroutines have ended then.
func stream(text io.Reader, workers int, parse func(*block), take func(*block) error) error {
	var (
		free  = make(chan *block, workers+2)
		work  = make(chan *block)
		order = make(chan *block, workers+2)
		stop  = make(chan struct{})
		group sync.WaitGroup
		fault error
	)
	for range workers + 2 {
		free <- &block{data: make([]byte, 0, blockSize+pad)}
	}
	for range workers {
		group.Go(func() {
			for k := range work {
				parse(k)
				close(k.done)
			}
		})
	}
	group.Go(func() {
		defer close(order)
		defer close(work)
		fault = cut(text, free, func(k *block) bool {
			select {
			case work <- k:
				order <- k
				return true
			case <-stop:
				return false
			}
		}, stop)
	})
	var failed error
	for k := range order {
		<-k.done
		if failed == nil {
			if failed = take(k); failed != nil {
				close(stop)
			}
		}
		free <- k
	}
	group.Wait()
	if failed != nil {
		return failed
	}
	return fault
}

// cut reads blocks of whole lines and gives them to send until it says no.
func cut(text io.Reader, free <-chan *block, send func(*block) bool, stop <-chan struct{}) error {
	var rest []byte // the beginning of a line
	for {
		var k *block
		select {
		case k = <-free:
		case <-stop:
			return nil
		}
		b := append(k.data[:0], rest...)
		b, err := fill(text, b)
		last := err == io.EOF
		if err != nil && !last {
			return err
		}
		if len(b) == 0 {
			return nil
		}
		end := 1 + bytes.LastIndexByte(b, '\n')
		k.cut = last && end < len(b)
		if !last {
			if end == 0 {
				return errLongLine
			}
			rest = append(rest[:0], b[end:]...)
			b = b[:end]
		} else if k.cut {
			b = append(b, '\n')
		}
		k.size = len(b)
		for range pad {
			b = append(b, '\n')
		}
		k.data, k.done = b, make(chan struct{})
		if !send(k) || last {
			return nil
		}
	}
}

// fill reads until b has blockSize bytes, or there is an error. (io.ReadFull
// would make the end of the text and a damaged one the same error.)
func fill(text io.Reader, b []byte) ([]byte, error) {
	for len(b) < blockSize {
		n, err := text.Read(b[len(b):blockSize])
		b = b[:len(b)+n]
		if err != nil {
			return b, err
		}
	}
	return b, nil
}
