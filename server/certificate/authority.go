package certificate

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"slices"
	"time"
)

const (
	// authorityYears is longer than anybody will keep the server: clients pin the authority.
	authorityYears = 10
	// certificateLife is the longest that Mozilla's guidelines recommend.
	certificateLife = 90 * 24 * time.Hour
	// renewBefore leaves time for a server that was off.
	renewBefore = 30 * 24 * time.Hour
	// clockSlack lets a client whose clock is a little behind take a new certificate.
	clockSlack = time.Hour
)

// authority is a certificate authority of the studio's own, which signs for its server and nobody else.
type authority struct {
	dir  string
	now  func() time.Time
	cert *x509.Certificate
	key  crypto.Signer
}

func (a authority) path(name string) string { return filepath.Join(a.dir, name) }

// openAuthority loads the authority of a folder, or makes it.
func openAuthority(dir string, now func() time.Time) (authority, error) {
	a := authority{dir: dir, now: now}
	if dir == "" {
		return a, errNoDir
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return a, err
	}
	pair, err := a.load("authority")
	if errors.Is(err, fs.ErrNotExist) {
		return a.make()
	}
	if err != nil {
		return a, err
	}
	a.cert, a.key = pair.Leaf, pair.PrivateKey.(crypto.Signer)
	return a, nil
}

// load reads NAME.pem and NAME.key.
func (a authority) load(name string) (*tls.Certificate, error) {
	if err := checkPrivate(a.path(name + ".key")); err != nil {
		return nil, err
	}
	pair, err := tls.LoadX509KeyPair(a.path(name+".pem"), a.path(name+".key"))
	return &pair, err
}

func (a authority) make() (authority, error) {
	now := a.now()
	host, _ := os.Hostname() // only a name for people
	template := &x509.Certificate{
		Subject:   pkix.Name{CommonName: "Saggar authority of " + host},
		NotBefore: now.Add(-clockSlack), NotAfter: now.AddDate(authorityYears, 0, 0),
		IsCA: true, BasicConstraintsValid: true, MaxPathLenZero: true,
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageCRLSign,
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return a, err
	}
	der, err := a.sign(template, template, key.Public(), key)
	if err != nil {
		return a, err
	}
	if err := a.keep("authority", key, der); err != nil {
		return a, err
	}
	a.key = key
	a.cert, err = x509.ParseCertificate(der)
	return a, err
}

func (a authority) sign(template, parent *x509.Certificate, public crypto.PublicKey, signer crypto.Signer) ([]byte, error) {
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127))
	if err != nil {
		return nil, err
	}
	template.SerialNumber = serial
	return x509.CreateCertificate(rand.Reader, template, parent, public, signer)
}

// certificate returns the server's certificate with the authority's behind it: the one in the folder while it lasts and
// names what it shall, otherwise a new one.
func (a authority) certificate(names []string) (*tls.Certificate, error) {
	stands, err := a.load("server")
	if err == nil && a.lasts(stands.Leaf, names) {
		return stands, nil
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	now := a.now()
	template := &x509.Certificate{
		Subject:   pkix.Name{CommonName: "saggard"},
		NotBefore: now.Add(-clockSlack), NotAfter: now.Add(certificateLife - clockSlack),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		BasicConstraintsValid: true,
	}
	template.DNSNames, template.IPAddresses = split(names)
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	der, err := a.sign(template, a.cert, key.Public(), a.key)
	if err != nil {
		return nil, err
	}
	if err := a.keep("server", key, der, a.cert.Raw); err != nil {
		return nil, err
	}
	return a.load("server")
}

func (a authority) lasts(leaf *x509.Certificate, names []string) bool {
	hosts, addresses := split(names)
	return a.now().Add(renewBefore).Before(leaf.NotAfter) && leaf.CheckSignatureFrom(a.cert) == nil &&
		slices.Equal(leaf.DNSNames, hosts) && slices.EqualFunc(leaf.IPAddresses, addresses, net.IP.Equal)
}

// split tells addresses from host names.
func split(names []string) (hosts []string, addresses []net.IP) {
	for _, name := range names {
		if ip := net.ParseIP(name); ip != nil {
			addresses = append(addresses, ip)
		} else {
			hosts = append(hosts, name)
		}
	}
	return hosts, addresses
}

// keep writes NAME.key and NAME.pem, each whole or not at all, the key for its owner only.
func (a authority) keep(name string, key *ecdsa.PrivateKey, chain ...[]byte) error {
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	var text []byte
	for _, der := range chain {
		text = append(text, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})...)
	}
	// The key first: a certificate without its key would be taken for damage.
	return errors.Join(
		a.put(name+".key", pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private}), 0o600),
		a.put(name+".pem", text, 0o644),
	)
}

func (a authority) put(name string, text []byte, mode fs.FileMode) error {
	file, err := os.CreateTemp(a.dir, name+".*") // mode 0600 from the start
	if err != nil {
		return err
	}
	defer func() {
		// Both are done already when all went well.
		_, _ = file.Close(), os.Remove(file.Name())
	}()
	if _, err := file.Write(text); err != nil {
		return fmt.Errorf("write %s: %w", name, err)
	}
	return errors.Join(file.Chmod(mode), file.Sync(), file.Close(), os.Rename(file.Name(), a.path(name)))
}
