package capture

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strconv"
	"testing"
	"time"

	"hvproof/internal/can"

	"github.com/stretchr/testify/require"
)

// benchBytes is about how long the benchmark's files are.
const benchBytes = 100 << 20

// writeBench makes a file of about size bytes as a scope would: a BOM, a
// preamble, CRLF, and a pre-charge with noise, in plain or in scientific
// figures.
func writeBench(t testing.TB, size int, scientific bool) (name string, rows int) {
	t.Helper()
	name = filepath.Join(t.TempDir(), "bench.csv")
	f, err := os.Create(name)
	require.NoError(t, err)
	w := bufio.NewWriterSize(f, 1<<20)
	n, err := w.WriteString("\ufeffModel,Q4\r\nSample Interval,1E-06,s\r\nVertical Units,V\r\n\r\n\r\nTime (s),Link (V)\r\n")
	require.NoError(t, err)
	noise := uint32(1)
	var line []byte
	for ; n < size; rows++ {
		noise = noise*1664525 + 1013904223
		x := float64(rows) * 1e-6
		v := 398*(1-math.Exp(-x/0.8)) + float64(noise>>24)/100
		line = line[:0]
		if scientific {
			line = strconv.AppendFloat(line, x, 'E', 8, 64)
			line = append(line, ',')
			line = strconv.AppendFloat(line, v, 'E', 6, 64)
		} else {
			line = strconv.AppendFloat(line, x, 'f', 6, 64)
			line = append(line, ',')
			line = strconv.AppendFloat(line, v, 'f', 3, 64)
		}
		line = append(line, '\r', '\n')
		k, err := w.Write(line)
		require.NoError(t, err)
		n += k
	}
	require.NoError(t, w.Flush())
	require.NoError(t, f.Close())
	return name, rows
}

// viaStandard reads the same numbers with encoding/csv and strconv.
func viaStandard(t testing.TB, name string) []float64 {
	t.Helper()
	f, err := os.Open(name)
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(bufio.NewReaderSize(f, 1<<20))
	r.ReuseRecord, r.FieldsPerRecord = true, -1
	var times, values []float64
	for {
		record, err := r.Read()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		if len(record) != 2 {
			continue
		}
		x, err1 := strconv.ParseFloat(record[0], 64)
		v, err2 := strconv.ParseFloat(record[1], 64)
		if err1 != nil || err2 != nil {
			continue
		}
		times, values = append(times, x), append(values, v)
	}
	require.Len(t, times, len(values))
	return values
}

// readFile reads a file with Read and gives the values of its first channel.
func readFile(t testing.TB, name string, opt Options) []float64 {
	t.Helper()
	f, err := os.Open(name)
	require.NoError(t, err)
	defer f.Close()
	w, err := Read(f, opt)
	require.NoError(t, err)
	return w.Channels[0].V
}

// sum adds numbers up, in order.
func sum(values []float64) (s float64) {
	for _, v := range values {
		s += v
	}
	return s
}

// spent is the least time of some runs, by the clock and of the processors.
type spent struct{ clock, processor time.Duration }

// fastest gives the least of some runs. Each begins with the memory given
// back, as a command does that has just been started: what reading into
// memory costs is mostly the memory.
func (s *spent) fastest(runs int, f func()) {
	for range runs {
		debug.FreeOSMemory()
		start, used := time.Now(), cpuTime()
		f()
		clock, processor := time.Since(start), cpuTime()-used
		if s.clock == 0 || clock < s.clock {
			s.clock = clock
		}
		if s.processor == 0 || processor < s.processor {
			s.processor = processor
		}
	}
}

// compare reports how much faster s is than other: by the clock, and by
// processor time, which other work on the machine does not disturb.
func (s spent) compare(b *testing.B, other spent, name string) {
	b.ReportMetric(float64(other.clock)/float64(s.clock), "×"+name)
	if s.processor > 0 {
		b.ReportMetric(float64(other.processor)/float64(s.processor), "×"+name+"-cpu")
	}
}

// BenchmarkRead reads about 100 MB and prints how the rate compares with
// reading the same bytes into memory, and with encoding/csv and ParseFloat,
// on one core and on two. "digest" counts the SHA-256 of the file in; the
// others leave it to whoever stores the file.
//
// Memory, measured as the greatest resident size of "hvproof capture" on a
// file of 239 MB, 10 million samples of two channels, of which features were
// asked: 311 MB, 15.6 bytes for each sample and channel, the program and the
// analysis counted in; as much with uneven times and when packed by gzip.
func BenchmarkRead(b *testing.B) {
	for _, form := range []string{"plain", "scientific"} {
		name, rows := writeBench(b, benchBytes, form == "scientific")
		info, err := os.Stat(name)
		require.NoError(b, err)
		for _, cores := range []int{1, 2} {
			for _, digest := range []bool{false, true} {
				what := fmt.Sprintf("%s/cores=%d", form, cores)
				opt := Options{}
				if digest {
					what += "/digest"
				} else {
					opt.Digest = new([32]byte)
				}
				b.Run(what, func(b *testing.B) {
					defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(cores))
					var memory, standard, ours spent
					memory.fastest(5, func() {
						got, err := os.ReadFile(name)
						require.NoError(b, err)
						require.Len(b, got, int(info.Size()))
					})
					var want, got []float64
					standard.fastest(1, func() { want = viaStandard(b, name) })
					require.Len(b, want, rows)
					b.SetBytes(info.Size())
					for b.Loop() {
						got = nil
						ours.fastest(1, func() { got = readFile(b, name, opt) })
					}
					require.Len(b, got, rows)
					require.Equal(b, math.Float64bits(sum(want)), math.Float64bits(sum(got)), "the same values")
					ours.compare(b, memory, "memory")
					ours.compare(b, standard, "csv")
					b.ReportMetric(float64(info.Size())/1e6/ours.clock.Seconds(), "best-MB/s")
				})
			}
		}
	}
}

// TestMemory holds the memory of reading to one and a half times the numbers
// as float64, besides a few blocks: of files, whose length is known, and of
// streams, of which it is not; also while parts are put together.
func TestMemory(t *testing.T) {
	name, _ := writeBench(t, 24<<20, false)
	table, err := os.ReadFile(name)
	require.NoError(t, err)
	column := []byte("dt;0,00005\n\nU (V)\n")
	var log []byte
	for i := range 2_000_000 {
		column = fmt.Appendf(column, "%d,%03d\n", i%400, i%997)
	}
	for i := range 600_000 {
		log = fmt.Appendf(log, "(%d.%06d) can0 3A1#%04X0000\n", 1805536931+i/1000, i%1000*1000+i%7, i%65536)
	}
	for _, c := range []struct {
		name string
		text []byte
		opt  Options
		each uint64 // numbers of a sample
	}{
		{"table", table, Options{}, 2},
		{"one column", column, Options{Interval: 5e-5, NoTime: true, Delimiter: ";", Decimal: ",", Units: map[string]string{"U": "V"}}, 1},
		{"CAN", log, Options{Signals: []can.Signal{link}}, 2},
	} {
		for _, how := range []string{"known length", "stream"} {
			var r io.Reader = bytes.NewReader(c.text)
			if how == "stream" {
				r = struct{ io.Reader }{r}
			}
			before, most, joined := heap(), uint64(0), 0
			sample := func(int64) { most = max(most, heap()) }
			testOnlyJoining = func() { joined++; sample(0) }
			opt := c.opt
			opt.Digest, opt.Progress = new([32]byte), sample
			w, err := Read(r, opt)
			testOnlyJoining = nil
			require.NoError(t, err)
			sample(0)
			numbers := uint64(len(w.Channels[0].V)) * c.each * 8
			require.Greater(t, numbers, uint64(4<<20))
			require.True(t, how != "stream" || joined > 0, "nothing was put together")
			blocks := uint64(opt.workers()+2) * 3 * blockSize
			require.LessOrEqual(t, most-before, numbers*3/2+blocks, "%s, %s: %d numbers of 8 bytes", c.name, how, numbers/8)
		}
	}
}

// heap is what is in use after what is garbage has gone.
func heap() uint64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}
