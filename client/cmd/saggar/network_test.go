package main

import (
	"bufio"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// networked is a saggard that speaks TLS on a loopback port, and the home of a user of it.
type networked struct {
	t           *testing.T
	dir, home   string
	process     *exec.Cmd
	address     string
	fingerprint string
}

func startNetworked(t *testing.T) *networked {
	t.Helper()
	dir, err := os.MkdirTemp("/var/tmp", "saggar-network")
	require.NoError(t, err)
	require.NoError(t, os.Chmod(dir, 0o711)) // PostgreSQL, as its own user, must pass
	n := &networked{t: t, dir: dir, home: t.TempDir()}
	t.Cleanup(func() {
		n.stop()
		os.RemoveAll(dir)
	})
	return n
}

// start runs saggard on the address that it had before, if any, and reads what it says of itself.
func (n *networked) start(args ...string) {
	n.t.Helper()
	bin, err := binaries()
	require.NoError(n.t, err)
	listen := n.address
	if listen == "" {
		listen = "127.0.0.1:0"
	}
	n.process = exec.Command(filepath.Join(bin, "saggard"), append([]string{
		"--data-dir", filepath.Join(n.dir, "data"), "--listen", listen, "--tls", "--log-level", "error",
	}, args...)...)
	said, err := n.process.StderrPipe()
	require.NoError(n.t, err)
	require.NoError(n.t, n.process.Start())
	lines := bufio.NewScanner(said)
	for lines.Scan() {
		if fingerprint, ok := strings.CutPrefix(lines.Text(), "saggard: fingerprint "); ok {
			n.fingerprint = fingerprint
		}
		if address, ok := strings.CutPrefix(lines.Text(), "saggard: serving on "); ok {
			n.address = address
			go func() {
				for lines.Scan() {
				}
			}()
			return
		}
	}
	n.t.Fatal("saggard does not serve")
}

func (n *networked) stop() {
	if n.process != nil && n.process.ProcessState == nil {
		_ = n.process.Process.Signal(syscall.SIGTERM)
		_ = n.process.Wait()
	}
}

// saggar runs the command line as the user, with something typed.
func (n *networked) saggar(typed string, args ...string) (string, int) {
	n.t.Helper()
	bin, err := binaries()
	require.NoError(n.t, err)
	command := exec.Command(filepath.Join(bin, "saggar"), args...)
	command.Env = []string{"HOME=" + n.home, "PATH=" + os.Getenv("PATH")}
	command.Stdin = strings.NewReader(typed)
	output, err := command.CombinedOutput()
	if err != nil && command.ProcessState == nil {
		n.t.Fatal(err)
	}
	return string(output), command.ProcessState.ExitCode()
}

func (n *networked) firstKey() string { return filepath.Join(n.dir, "data", "first.key") }

func TestAServerOnANetworkIsPinnedAtFirstContact(t *testing.T) {
	t.Parallel()
	n := startNetworked(t)
	n.start()
	output, code := n.saggar("no\n", "sign-in", "--tls", "--server", n.address, "--key-file", n.firstKey())
	assert.Equal(t, 2, code, output)
	assert.Contains(t, output, n.fingerprint, "what saggard printed is shown")
	assert.FileExists(t, n.firstKey(), "no key was sent to a server that nobody vouched for")
	output, code = n.saggar("", "sign-in", "--tls", "--server", n.address, "--key-file", n.firstKey(), "--fingerprint", strings.Repeat("0", 64))
	assert.Equal(t, 5, code, output)
	assert.Contains(t, output, "not the one that was signed in to")

	output, code = n.saggar("yes\n", "sign-in", "--tls", "--server", n.address, "--key-file", n.firstKey())
	require.Equal(t, 0, code, output)
	assert.NoFileExists(t, n.firstKey())
	output, code = n.saggar("", "caller", "show")
	assert.Equal(t, 0, code, output)
	assert.Contains(t, output, "STEWARD")
	output, code = n.saggar("", "caller", "show", "--timeout", "2s", "--server", n.address)
	assert.Equal(t, 0, code, output)

	n.stop()
	before := n.fingerprint
	require.NoError(t, os.RemoveAll(filepath.Join(n.dir, "data", "tls")))
	n.start()
	require.NotEqual(t, before, n.fingerprint)
	output, code = n.saggar("yes\n", "caller", "show", "--timeout", "5s")
	assert.Equal(t, 5, code, output)
	assert.Contains(t, output, "not the one that was signed in to: its fingerprint is "+n.fingerprint+" and was "+before)
	output, code = n.saggar("yes\n", "sign-in", "--server", n.address)
	assert.NotEqual(t, 0, code, "signing in again is no way around the pin: %s", output)
}

func TestAServerThatAsksForCertificates(t *testing.T) {
	t.Parallel()
	n := startNetworked(t)
	path := func(name string) string { return filepath.Join(n.dir, name) }
	for _, args := range [][]string{
		{"req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-subj", "/CN=clients", "-days", "2",
			"-keyout", path("clients.key"), "-out", path("clients.pem")},
		{"req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-subj", "/CN=ada", "-keyout", path("ada.pk"), "-out", path("ada.csr")},
		{"x509", "-req", "-in", path("ada.csr"), "-CA", path("clients.pem"), "-CAkey", path("clients.key"), "-CAcreateserial", "-days", "1",
			"-out", path("ada.pem")},
	} {
		output, err := exec.Command("openssl", args...).CombinedOutput()
		require.NoError(t, err, "%s", output)
	}
	n.start("--tls-client-authority", path("clients.pem"))
	output, code := n.saggar("", "sign-in", "--server", n.address, "--key-file", n.firstKey(), "--fingerprint", n.fingerprint, "--timeout", "3s")
	assert.Equal(t, 5, code, output)
	output, code = n.saggar("", "sign-in", "--server", n.address, "--key-file", n.firstKey(), "--fingerprint", n.fingerprint,
		"--certificate", path("ada.pem"), "--certificate-key", path("ada.pk"))
	require.Equal(t, 0, code, output)
	output, code = n.saggar("", "caller", "show")
	assert.Equal(t, 0, code, output)
}

func TestNoSecretIsInTheProcessListOrTheLog(t *testing.T) {
	t.Parallel()
	n := startNetworked(t)
	bin, err := binaries()
	require.NoError(t, err)
	log, err := os.Create(filepath.Join(n.dir, "log"))
	require.NoError(t, err)
	defer log.Close()
	n.process = exec.Command(filepath.Join(bin, "saggard"), "--data-dir", filepath.Join(n.dir, "data"),
		"--listen", "unix:"+filepath.Join(n.dir, "s"), "--log-level", "debug")
	n.process.Stderr = log
	require.NoError(t, n.process.Start())
	server := "unix:" + filepath.Join(n.dir, "s")
	var first []byte
	require.Eventually(t, func() bool {
		first, err = os.ReadFile(n.firstKey())
		return err == nil && len(first) > 0
	}, 90*time.Second, 50*time.Millisecond)
	var output string
	require.Eventually(t, func() bool {
		var code int
		output, code = n.saggar("", "sign-in", "--server", server, "--key-file", n.firstKey())
		return code == 0
	}, 90*time.Second, 100*time.Millisecond, output)
	lasting, err := os.ReadFile(filepath.Join(n.home, ".config", "saggar", "keys", "default.key"))
	require.NoError(t, err)
	_, code := n.saggar("", "caller", "show", "--key-file", filepath.Join(n.home, ".config", "saggar", "keys", "default.key"), "--server", server)
	assert.Equal(t, 0, code)
	secrets := []string{strings.TrimSpace(string(first)), strings.TrimSpace(string(lasting))}
	password, err := os.ReadFile(filepath.Join(n.dir, "data", "postgres", "password"))
	require.NoError(t, err)
	secrets = append(secrets, strings.TrimSpace(string(password)))
	listing, err := exec.Command("ps", "-eo", "args", "ww").Output()
	require.NoError(t, err)
	n.stop()
	logged, err := os.ReadFile(log.Name())
	require.NoError(t, err)
	assert.Contains(t, string(logged), "GetCaller", "calls are logged")
	for _, secret := range secrets {
		require.NotEmpty(t, secret)
		assert.NotContains(t, string(logged), secret)
		assert.NotContains(t, string(listing), secret)
		assert.NotContains(t, output, secret)
	}
}
