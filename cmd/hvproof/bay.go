package main

import (
	"context"
	"crypto/rand"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"hvproof/internal/bay"
	"hvproof/internal/diag"
)

// bayFlags say where the page is served.
type bayFlags struct {
	lan     bool
	port    int
	wording string
	texts   bool
}

func newBayCommand(a *app) *cobra.Command {
	var f bayFlags
	cmd := &cobra.Command{
		Use:   "bay",
		Short: "the page for the tablet at the car",
		Long: `Serves the page that the scribe holds at the car: a run step by step, what is
proven, work on HV, permits, open items, limits, past readings and waveforms. It
holds the log open for writing until it is ended with Ctrl-C; other commands that
write have to wait.

It is open to this machine alone. With --lan it is open to the network over TLS:
the first page of a device asks for the code that is shown here, and the
browser's view of the certificate must show the fingerprint that is shown here.

--print-wording prints every word of the page, and --wording takes a translation
of it. The sentences of procedures, cautions and rule books are the car's own
files: a shop writes them in its language. What the program itself concludes is
shown as it is recorded, in English.

EXIT STATUS
  0 ended by the person, 2 the call or a file is wrong, 4 the machine failed`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.bay(cmd.Context(), f) },
	}
	cmd.Flags().BoolVar(&f.lan, "lan", false, "open it to other devices on the network, over TLS")
	cmd.Flags().IntVar(&f.port, "port", 7360, "the port; 0 for any that is free")
	cmd.Flags().StringVar(&f.wording, "wording", "", "the shop's own texts, from this file")
	cmd.Flags().BoolVar(&f.texts, "print-wording", false, "print the built-in texts, to begin a translation from")
	return cmd
}

// bay serves the page until the context ends.
func (a *app) bay(ctx context.Context, f bayFlags) error {
	if f.texts {
		_, err := fmt.Fprint(a.out, bay.BuiltInWordingFile())
		return err
	}
	words, err := readWording(f.wording)
	if err != nil {
		return err
	}
	s, err := a.write(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	l, err := listen(ctx, f)
	if err != nil {
		return err
	}
	defer l.Close()
	opt := bay.Options{Dir: filepath.Join(s.home.Dir(), "bay"), LAN: f.lan, Wording: words, Random: rand.Reader, Now: a.now,
		Say: func(line string) { a.sayf("%s", line) }}
	var certificate *tls.Certificate
	if f.lan {
		if certificate, err = a.share(&opt, l); err != nil {
			return err
		}
	}
	page, err := bay.New(&bayCar{session: s}, opt)
	if err != nil {
		return err
	}
	if f.lan {
		err = a.sayHowToPair(page, opt)
	} else {
		a.printf("http://%s\n", l.Addr())
		a.sayf("open this page on this machine; end it with Ctrl-C")
	}
	if err != nil {
		return err
	}
	return page.Serve(ctx, l, certificate)
}

func readWording(path string) (*bay.Wording, error) {
	if path == "" {
		return nil, nil
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, diag.Bad("", "wording: %v", err)
	}
	words, faults := bay.ParseWording(path, string(text))
	if faults.Errors() {
		return nil, &diag.Error{Class: diag.ClassBadInput, Message: strings.TrimRight(problemLines(faults), "\n"), Problems: faults}
	}
	return words, nil
}

func listen(ctx context.Context, f bayFlags) (net.Listener, error) {
	host := "127.0.0.1"
	if f.lan {
		host = ""
	}
	var how net.ListenConfig
	l, err := how.Listen(ctx, "tcp", net.JoinHostPort(host, strconv.Itoa(f.port)))
	if errors.Is(err, syscall.EADDRINUSE) {
		return nil, &diag.Error{Class: diag.ClassMachine, Err: err, Message: fmt.Sprintf("port %d is taken", f.port), Hint: "is the page open already? else choose another with --port"}
	}
	if err != nil {
		return nil, diag.Bad("choose another with --port", "the page cannot be served: %v", err)
	}
	return l, nil
}

// share fills in what the page needs to be open to the network.
func (a *app) share(opt *bay.Options, l net.Listener) (*tls.Certificate, error) {
	addresses, err := ownAddresses()
	if err != nil {
		return nil, diag.Machine("", "the addresses of this machine: %v", err)
	}
	opt.Names = []string{"localhost"}
	if host, err := os.Hostname(); err == nil {
		host = strings.ToLower(host)
		opt.Names = append(opt.Names, host, host+".local")
	}
	at := addresses[0]
	for _, ip := range addresses {
		if !ip.IsLoopback() {
			at = ip
			break
		}
	}
	_, port, err := net.SplitHostPort(l.Addr().String())
	if err != nil {
		return nil, diag.Machine("", "%v", err)
	}
	opt.Address = "https://" + net.JoinHostPort(at.String(), port)
	if err := os.MkdirAll(opt.Dir, 0o700); err != nil {
		return nil, diag.Machine("", "%v", err)
	}
	c, fingerprint, err := bay.Certificate(opt.Dir, opt.Names, addresses, rand.Reader, a.now())
	opt.Fingerprint = fingerprint
	return &c, err
}

// ownAddresses gives the addresses of this machine, IPv4 first, loopback last.
func ownAddresses() ([]net.IP, error) {
	list, err := net.InterfaceAddrs()
	if err != nil {
		return nil, err
	}
	var four, six []net.IP
	for _, x := range list {
		n, ok := x.(*net.IPNet)
		switch {
		case !ok || n.IP.IsLoopback() || n.IP.IsLinkLocalUnicast():
		case n.IP.To4() != nil:
			four = append(four, n.IP)
		default:
			six = append(six, n.IP)
		}
	}
	return append(append(four, six...), net.IPv4(127, 0, 0, 1), net.IPv6loopback), nil
}

// sayHowToPair shows address, code and fingerprint, and the address once more
// as a code for a camera.
func (a *app) sayHowToPair(page *bay.Server, opt bay.Options) error {
	code, err := page.NewCode()
	if err != nil {
		return err
	}
	picture, err := bay.QRText(opt.Address)
	if err != nil {
		return err
	}
	a.printf("%s\n", opt.Address)
	a.sayf("%s", picture)
	a.sayf("pairing code       %s   (good once, for ten minutes)", code)
	a.sayf("fingerprint        %s", bay.FingerprintWords(opt.Fingerprint))
	a.sayf("in the browser     %s", bay.FingerprintHex(opt.Fingerprint))
	a.sayf("compare before anybody types a passphrase; end the page with Ctrl-C")
	return nil
}
