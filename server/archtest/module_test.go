package archtest

import (
	"bytes"
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

const module = "saggar"

// pkg is what go list says of one package.
type pkg struct {
	Dir          string
	ImportPath   string
	Name         string
	GoFiles      []string
	TestGoFiles  []string
	XTestGoFiles []string
	Imports      []string
	TestImports  []string
	XTestImports []string
}

// name is the import path without the module.
func (p pkg) name() string { return strings.TrimPrefix(p.ImportPath, module+"/") }

// source is one parsed file.
type source struct {
	pkg       pkg
	path      string // from the module's root
	text      []byte
	file      *ast.File
	set       *token.FileSet
	isTest    bool
	generated bool
}

func (s source) line(pos token.Pos) int { return s.set.Position(pos).Line }

var packages = sync.OnceValues(func() ([]pkg, error) {
	if err := lookAtFolders(); err != nil {
		return nil, err
	}
	cmd := exec.Command("go", "list", "-e", "-json", "./...")
	cmd.Dir = root()
	out, err := cmd.Output()
	if err != nil {
		return nil, err
	}
	var all []pkg
	for decoder := json.NewDecoder(bytes.NewReader(out)); ; {
		var p pkg
		if err := decoder.Decode(&p); errors.Is(err, io.EOF) {
			return all, nil
		} else if err != nil {
			return nil, err
		}
		all = append(all, p)
	}
})

// lookAtFolders opens every folder, since go test reuses a result as long as what the test itself opened is unchanged,
// and does not see what go list reads.
func lookAtFolders() error {
	return filepath.WalkDir(root(), func(path string, entry fs.DirEntry, err error) error {
		if err == nil && entry.IsDir() && path != root() && strings.HasPrefix(entry.Name(), ".") {
			return fs.SkipDir
		}
		return err
	})
}

// root is the module's folder; tests run in their package's.
func root() string { return filepath.Join("..", "..") }

func modulePackages(t *testing.T) []pkg {
	t.Helper()
	all, err := packages()
	require.NoError(t, err)
	require.Greater(t, len(all), 5, "go list found hardly anything; is the module's root still two folders up?")
	return all
}

var sources = sync.OnceValues(func() ([]source, error) {
	all, err := packages()
	if err != nil {
		return nil, err
	}
	var parsed []source
	for _, p := range all {
		for kind, names := range [][]string{p.GoFiles, p.TestGoFiles, p.XTestGoFiles} {
			for _, name := range names {
				s, err := parse(p, name)
				if err != nil {
					return nil, err
				}
				s.isTest = kind > 0
				parsed = append(parsed, s)
			}
		}
	}
	return parsed, nil
})

// ownSources are the files that people write.
func ownSources(t *testing.T) (own []source) {
	t.Helper()
	all, err := sources()
	require.NoError(t, err)
	for _, s := range all {
		if !s.generated {
			own = append(own, s)
		}
	}
	return own
}

func parse(p pkg, name string) (source, error) {
	full := filepath.Join(p.Dir, name)
	text, err := os.ReadFile(full)
	if err != nil {
		return source{}, err
	}
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, full, text, parser.ParseComments)
	if err != nil {
		return source{}, err
	}
	return source{
		pkg: p, path: p.name() + "/" + name, text: text, file: file, set: set, generated: ast.IsGenerated(file),
	}, nil
}
