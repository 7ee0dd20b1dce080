package bay

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	_ "embed"
	"encoding/pem"
	"fmt"
	"io"
	"math/big"
	"net"
	"path/filepath"
	"strings"
	"time"

	"hvproof/internal/diag"
)

// certificateLife is as long as browsers on tablets accept: 825 days at most
// (Apple, requirements for trusted certificates in iOS 13, from memory).
const certificateLife = 820 * 24 * time.Hour

// Certificate gives the certificate of the folder dir, made on first use, and
// again when it is over: signed by itself, since no authority knows a laptop
// in a paddock. Its SHA-256 fingerprint is what people compare.
func Certificate(dir string, names []string, addresses []net.IP, random io.Reader, now time.Time) (tls.Certificate, [32]byte, error) {
	path := filepath.Join(dir, "certificate.pem")
	made := func() ([]byte, error) { return makeCertificate(names, addresses, random, now) }
	text, err := keep(path, made)
	if err != nil {
		return tls.Certificate{}, [32]byte{}, err
	}
	c, err := tls.X509KeyPair(text, text)
	if err == nil && now.After(c.Leaf.NotAfter) {
		if text, err = made(); err == nil {
			if err = writePrivate(path, text); err == nil {
				c, err = tls.X509KeyPair(text, text)
			}
		}
	}
	if err != nil {
		return tls.Certificate{}, [32]byte{}, &diag.Error{Class: diag.ClassMachine, Err: err,
			Message: fmt.Sprintf("%s: %v", path, err), Hint: "delete the file, it is made anew; devices then see another fingerprint"}
	}
	return c, sha256.Sum256(c.Leaf.Raw), nil
}

func makeCertificate(names []string, addresses []net.IP, random io.Reader, now time.Time) ([]byte, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), random)
	if err != nil {
		return nil, machine(err)
	}
	serial := make([]byte, 16)
	if _, err := io.ReadFull(random, serial); err != nil {
		return nil, machine(err)
	}
	serial[0] &= 0x7f
	c := &x509.Certificate{
		SerialNumber: new(big.Int).SetBytes(serial),
		Subject:      pkix.Name{CommonName: "hvproof bay"},
		NotBefore:    now.Add(-24 * time.Hour), NotAfter: now.Add(certificateLife),
		KeyUsage:    x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		DNSNames:    names, IPAddresses: addresses,
		BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(random, c, c, key.Public(), key)
	if err != nil {
		return nil, machine(err)
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, machine(err)
	}
	return append(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}),
		pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private})...), nil
}

//go:embed words.txt
var wordList string

// fingerprintWords is how many words are shown: ten of 256 are 80 bits, more
// than anybody can make a second certificate for.
const fingerprintWords = 10

// FingerprintWords gives the first bytes of a fingerprint as words, easier to
// compare aloud than digits. The list is the program's own.
func FingerprintWords(f [32]byte) string {
	list := strings.Fields(wordList)
	var words []string
	for _, b := range f[:fingerprintWords] {
		words = append(words, list[b])
	}
	return strings.Join(words, " ")
}

// FingerprintHex gives a fingerprint as browsers show it.
func FingerprintHex(f [32]byte) string {
	var pairs []string
	for _, b := range f {
		pairs = append(pairs, fmt.Sprintf("%02X", b))
	}
	return strings.Join(pairs, ":")
}
