// Package account keeps what a person needs to reach studios again: which server, which studio, and the key. It lives in
// the user's own config folder, readable by nobody else:
//
//	contexts.yaml   the contexts by name, and which one is current
//	keys/NAME.key   the key of context NAME, mode 0600
//
// A folder or a key that others may read is refused rather than used.
package account

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Context is one server, and who the user is there.
type Context struct {
	// Server is host:port or unix:/path.
	Server string `yaml:"server"`
	// Studio is the studio's id; empty: none is preferred.
	Studio string `yaml:"studio,omitempty"`
	// TLS speaks TLS to a loopback address too.
	TLS bool `yaml:"tls,omitempty"`
	// Fingerprint is the authority that the server showed when the user signed in; empty: the system's authorities decide.
	Fingerprint string `yaml:"fingerprint,omitempty"`
	// CertificateFile and KeyFile are the user's own, for servers that ask for one.
	CertificateFile string `yaml:"certificate_file,omitempty"`
	KeyFile         string `yaml:"certificate_key_file,omitempty"`
}

// Book is every context that a user has.
type Book struct {
	// Current is the context used when none is named; empty: none.
	Current  string             `yaml:"current,omitempty"`
	Contexts map[string]Context `yaml:"contexts,omitempty"`
}

// Folder is a user's config folder for this program. It need not be there yet.
type Folder struct{ dir string }

// In returns the folder at a path.
func In(dir string) Folder { return Folder{dir} }

// DefaultDir follows the XDG base directory specification, which says to ignore a relative path. Empty when nothing is known
// of the user's home.
func DefaultDir(lookupEnv func(string) (string, bool)) string {
	if dir, _ := lookupEnv("XDG_CONFIG_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "saggar")
	}
	if home, _ := lookupEnv("HOME"); filepath.IsAbs(home) {
		return filepath.Join(home, ".config", "saggar")
	}
	return ""
}

func (f Folder) bookFile() string { return filepath.Join(f.dir, "contexts.yaml") }

// KeyFile is where the key of a context is kept.
func (f Folder) KeyFile(name string) string { return filepath.Join(f.dir, "keys", name+".key") }

// Read returns the contexts; none when nobody signed in yet. Errors: what the file system says, a file that others may
// change, or one that is not what was written.
func (f Folder) Read() (Book, error) {
	var book Book
	if f.dir == "" {
		return book, nil
	}
	info, err := os.Stat(f.bookFile())
	if errors.Is(err, fs.ErrNotExist) {
		return book, nil
	}
	if err != nil {
		return book, err
	}
	// Who can change it can send the key to another server.
	if info.Mode().Perm()&0o022 != 0 {
		return book, fmt.Errorf("%s can be changed by others (mode %04o): chmod 600 it", f.bookFile(), info.Mode().Perm())
	}
	text, err := os.ReadFile(f.bookFile())
	if err != nil {
		return book, err
	}
	if err := yaml.Unmarshal(text, &book); err != nil {
		return Book{}, fmt.Errorf("%s is not as it was written: %w; remove it and sign in again", f.bookFile(), err)
	}
	return book, nil
}

// Write keeps the contexts.
func (f Folder) Write(book Book) error {
	text, err := yaml.Marshal(book)
	if err != nil {
		return err
	}
	return f.put(f.bookFile(), text)
}

// WriteKey keeps the key of a context.
func (f Folder) WriteKey(name, key string) error { return f.put(f.KeyFile(name), []byte(key+"\n")) }

// RemoveKey forgets the key of a context; one that is not there is fine.
func (f Folder) RemoveKey(name string) error {
	if err := os.Remove(f.KeyFile(name)); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// put writes a file whole or not at all, for its owner only, in a folder for its owner only.
func (f Folder) put(path string, text []byte) error {
	if f.dir == "" {
		return errors.New("there is no folder to keep it in: HOME is not set")
	}
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	file, err := os.CreateTemp(dir, filepath.Base(path)+".*") // mode 0600 from the start
	if err != nil {
		return err
	}
	defer func() {
		// Both are done already when all went well.
		_, _ = file.Close(), os.Remove(file.Name())
	}()
	if _, err := file.Write(text); err != nil {
		return err
	}
	return errors.Join(file.Sync(), file.Close(), os.Rename(file.Name(), path))
}

// Named returns a context by name, or the current one for an empty name; false when none is current.
// Errors: a name that there is not.
func (b Book) Named(name string) (string, Context, bool, error) {
	if name == "" {
		name = b.Current
	}
	if name == "" {
		return "", Context{}, false, nil
	}
	c, known := b.Contexts[name]
	if !known {
		return "", Context{}, false, fmt.Errorf("there is no context %q: sign in with 'saggar sign-in --context %s', or name one of %s",
			name, name, strings.Join(b.Names(), ", "))
	}
	return name, c, true, nil
}

// Names are the names of all contexts, in order.
func (b Book) Names() []string { return slices.Sorted(maps.Keys(b.Contexts)) }

// With returns the book with a context added or replaced, which becomes the current one.
func (b Book) With(name string, c Context) Book {
	contexts := maps.Clone(b.Contexts)
	if contexts == nil {
		contexts = map[string]Context{}
	}
	contexts[name] = c
	return Book{Current: name, Contexts: contexts}
}

// Without returns the book without a context; none is current when it was.
func (b Book) Without(name string) Book {
	contexts := maps.Clone(b.Contexts)
	delete(contexts, name)
	if b.Current == name {
		b.Current = ""
	}
	b.Contexts = contexts
	return b
}
