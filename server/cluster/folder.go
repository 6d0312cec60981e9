package cluster

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
)

// folder is the cluster's folder, locked for this server.
type folder struct {
	dir   string // absolute, without symbolic links
	owner owner
	lock  *os.File
}

func (f folder) data() string         { return filepath.Join(f.dir, "data") }
func (f folder) unfinished() string   { return filepath.Join(f.dir, "data.unfinished") }
func (f folder) passwordFile() string { return filepath.Join(f.dir, "password") }
func (f folder) runLock() string      { return filepath.Join(f.dir, "postgres.lock") }
func (f folder) pidFile() string      { return filepath.Join(f.data(), "postmaster.pid") }

// unlock lets another server have the folder.
func (f folder) unlock() { f.lock.Close() }

// owner is the account that PostgreSQL runs as: PostgreSQL refuses root, and a shared account such as nobody would let
// other services read the data.
type owner struct {
	name       string
	uid, gid   int
	credential *syscall.Credential // nil: our own account
}

func findOwner() (owner, error) {
	if os.Geteuid() != 0 {
		return owner{name: "this user", uid: os.Geteuid(), gid: os.Getegid()}, nil
	}
	account, err := user.Lookup("postgres")
	if err != nil {
		return owner{}, fmt.Errorf("PostgreSQL does not run as root and there is no user postgres: "+
			"install the distribution's package or run useradd --system postgres: %w", err)
	}
	uid, err := strconv.ParseUint(account.Uid, 10, 32)
	if err != nil {
		return owner{}, fmt.Errorf("user postgres has uid %q: %w", account.Uid, err)
	}
	gid, err := strconv.ParseUint(account.Gid, 10, 32)
	if err != nil {
		return owner{}, fmt.Errorf("user postgres has gid %q: %w", account.Gid, err)
	}
	return owner{
		name: "user postgres", uid: int(uid), gid: int(gid),
		credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)},
	}, nil
}

// give hands a file to the owner; without root it is the owner's already.
func (o owner) give(path string) error {
	if o.credential == nil {
		return nil
	}
	return os.Lchown(path, o.uid, o.gid)
}

// openFolder makes the folder if it is missing and locks it for this process.
func openFolder(path string) (folder, error) {
	if path == "" {
		return folder{}, errors.New("no data folder given")
	}
	account, err := findOwner()
	if err != nil {
		return folder{}, err
	}
	dir, err := makeOwnDir(path, account)
	if err != nil {
		return folder{}, err
	}
	f := folder{dir: dir, owner: account}
	if f.lock, err = os.OpenFile(filepath.Join(dir, "server.lock"), os.O_CREATE|os.O_RDWR, 0o600); err != nil {
		return folder{}, err
	}
	if err := syscall.Flock(int(f.lock.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		holder, _ := os.ReadFile(f.lock.Name())
		f.unlock()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return folder{}, fmt.Errorf("%w: %s is held by the server with process id %s; stop it or choose another folder",
				ErrFolderInUse, dir, strings.TrimSpace(string(holder)))
		}
		return folder{}, fmt.Errorf("lock %s: %w", f.lock.Name(), err)
	}
	if err := errors.Join(f.lock.Truncate(0), writeLine(f.lock, strconv.Itoa(os.Getpid()))); err != nil {
		f.unlock()
		return folder{}, err
	}
	return f, nil
}

func writeLine(file *os.File, text string) error {
	_, err := file.WriteString(text + "\n")
	return err
}

// makeOwnDir returns the real path of a folder that belongs to the account. It takes over an empty folder, never one
// with somebody's files in it.
func makeOwnDir(path string, account owner) (string, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return "", err
	}
	if err := os.Mkdir(path, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return "", err
	}
	if path, err = filepath.EvalSymlinks(path); err != nil {
		return "", err
	}
	info, err := os.Stat(path)
	if err != nil {
		return "", err
	}
	if !info.IsDir() {
		return "", fmt.Errorf("data folder %s is a file; choose another", path)
	}
	if uidOf(info) == account.uid {
		return path, nil
	}
	entries, err := os.ReadDir(path)
	if err != nil {
		return "", err
	}
	if len(entries) > 0 {
		return "", fmt.Errorf("data folder %s belongs to uid %d and not to %s (uid %d), and is not empty; choose another",
			path, uidOf(info), account.name, account.uid)
	}
	return path, errors.Join(account.give(path), os.Chmod(path, 0o700))
}

func uidOf(info fs.FileInfo) int { return int(info.Sys().(*syscall.Stat_t).Uid) }

// major is the version of PostgreSQL that made the data folder, 0 when there is none yet.
func (f folder) major() (int, error) {
	text, err := os.ReadFile(filepath.Join(f.data(), "PG_VERSION"))
	if errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	major, err := strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil || major <= 0 {
		return 0, fmt.Errorf("%s/PG_VERSION says %q, which is no version; restore the folder from a copy", f.data(), text)
	}
	return major, nil
}

// checkReach proves that the owner can enter the folder: as root the parents may well be closed to it.
func (f folder) checkReach(ctx context.Context, p programs) error {
	err := f.tool(ctx, tool{path: p.path("postgres"), args: []string{"--version"}})
	if !errors.Is(err, fs.ErrPermission) {
		return err
	}
	for dir := filepath.Dir(f.dir); ; dir = filepath.Dir(dir) {
		if info, statErr := os.Stat(dir); statErr == nil && info.Mode().Perm()&0o001 == 0 && uidOf(info) != f.owner.uid {
			return fmt.Errorf("%s cannot enter %s because %s has mode %04o; chmod a+x it or choose another data folder: %w",
				f.owner.name, f.dir, dir, info.Mode().Perm(), err)
		}
		if dir == filepath.Dir(dir) {
			return fmt.Errorf("%s cannot enter %s: %w", f.owner.name, f.dir, err)
		}
	}
}

// readOrMakePassword keeps the password of a folder that has data and makes one for a new folder.
func (f folder) readOrMakePassword(hasData bool) (string, error) {
	text, err := os.ReadFile(f.passwordFile())
	password := strings.TrimSpace(string(text))
	switch {
	case err == nil && password != "":
		return password, nil
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return "", err
	case hasData:
		return "", fmt.Errorf("%s is missing or empty, and the data cannot be opened without it; restore it from a copy",
			f.passwordFile())
	}
	password = rand.Text()
	if err := os.WriteFile(f.passwordFile(), []byte(password+"\n"), 0o600); err != nil {
		return "", err
	}
	return password, f.owner.give(f.passwordFile())
}

// socketFolder is short whatever the data folder's path: a socket's path holds 107 bytes at most.
func socketFolder(dataDir string) string {
	sum := sha256.Sum256([]byte(dataDir))
	name := "saggar-" + hex.EncodeToString(sum[:6])
	path := filepath.Join(os.TempDir(), name)
	if len(path+"/.s.PGSQL."+port) > 107 {
		return filepath.Join("/tmp", name)
	}
	return path
}

// makeSocketFolder makes the folder, or accepts one that nobody but the owner can have made or can write to.
func makeSocketFolder(path string, account owner) error {
	err := os.Mkdir(path, 0o700)
	if err == nil {
		return account.give(path)
	}
	if !errors.Is(err, fs.ErrExist) {
		return err
	}
	info, err := os.Lstat(path)
	if err != nil {
		return err
	}
	if uid := uidOf(info); !info.IsDir() || uid != account.uid && uid != os.Geteuid() || info.Mode().Perm() != 0o700 {
		return fmt.Errorf("socket folder %s is not a folder of mode 0700 that belongs to %s; remove it", path, account.name)
	}
	return account.give(path)
}
