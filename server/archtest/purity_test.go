package archtest

import (
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// impure are parts of the standard library through which the world gets in: files, environment, network, logs,
// randomness that no seed repeats.
var impure = []string{
	"os/...", "net/...", "log/...", "syscall", "crypto/rand", "flag", "plugin", "path/filepath", "database/sql/...", "expvar",
	"io/ioutil", "runtime/...", "testing/...",
}

// isPure reports whether a package must give the same answer for the same input, anywhere and at any time.
func isPure(name string) bool {
	return fits(name, "chem/...") || fits(name, "scheduler/...") && !fits(name, "scheduler/race/...")
}

// worldly are the names in otherwise harmless packages that read the clock or a random source shared by the process.
var worldly = map[string]func(name string) bool{
	"time": oneOf("Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker", "Local", "LoadLocation"),
	// Everything but what takes its own seed.
	"math/rand":    noneOf("New", "NewSource", "NewZipf", "Rand", "Source", "Source64", "Zipf"),
	"math/rand/v2": noneOf("New", "NewPCG", "NewChaCha8", "NewZipf", "Rand", "Source", "PCG", "ChaCha8", "Zipf"),
}

func oneOf(names ...string) func(string) bool {
	return func(name string) bool { return slices.Contains(names, name) }
}

func noneOf(names ...string) func(string) bool {
	return func(name string) bool { return !slices.Contains(names, name) }
}

func TestPurePackagesSeeNothingOfTheWorld(t *testing.T) {
	checked := 0
	for _, s := range ownSources(t) {
		if s.isTest || !isPure(s.pkg.name()) {
			continue
		}
		checked++
		for _, fault := range impurities(s.file, s.set) {
			assert.Fail(t, s.path+": "+fault+"; pass it in")
		}
	}
	assert.Positive(t, checked)
}

func impurities(file *ast.File, set *token.FileSet) (faults []string) {
	at := func(pos token.Pos) string { return "line " + strconv.Itoa(set.Position(pos).Line) + " " }
	for _, spec := range file.Imports {
		path := importPath(spec)
		if fitsAny(path, impure) {
			faults = append(faults, at(spec.Pos())+"imports "+path)
		}
		if _, watched := worldly[path]; watched && spec.Name != nil && spec.Name.Name == "." {
			faults = append(faults, at(spec.Pos())+"imports "+path+" with a dot")
		}
	}
	for path, banned := range worldly {
		for _, use := range uses(file, path) {
			if banned(use.Sel.Name) {
				faults = append(faults, at(use.Pos())+"uses "+path+"."+use.Sel.Name)
			}
		}
	}
	return faults
}

// uses lists the selectors on an imported package, under whatever name it goes in the file.
func uses(file *ast.File, path string) (found []*ast.SelectorExpr) {
	names := map[string]bool{}
	for _, spec := range file.Imports {
		if importPath(spec) == path {
			names[localName(spec)] = true
		}
	}
	ast.Inspect(file, func(n ast.Node) bool {
		selector, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		// A name that the file declares itself has an object; a package's name has none.
		if base, ok := selector.X.(*ast.Ident); ok && names[base.Name] && base.Obj == nil { //nolint:staticcheck // scopes are enough, types would need a build
			found = append(found, selector)
		}
		return true
	})
	return found
}

func importPath(spec *ast.ImportSpec) string {
	path, err := strconv.Unquote(spec.Path.Value)
	if err != nil {
		return spec.Path.Value
	}
	return path
}

func localName(spec *ast.ImportSpec) string {
	if spec.Name != nil {
		return spec.Name.Name
	}
	path := importPath(spec)
	if path == "math/rand/v2" {
		return "rand"
	}
	return path[lastSlash(path)+1:]
}

func lastSlash(path string) int {
	for i := len(path) - 1; i >= 0; i-- {
		if path[i] == '/' {
			return i
		}
	}
	return -1
}

func TestImpuritiesAreSeen(t *testing.T) {
	const text = `package p
import (
	"embed"
	clock "time"
	"math/rand/v2"
	"os"
)
var _ embed.FS
func f(r *rand.Rand) clock.Duration {
	_ = os.Args
	_ = rand.New(rand.NewPCG(1, 2))
	_ = rand.IntN(3)
	time := struct{ Now int }{}
	_ = time.Now
	return clock.Since(clock.Time{})
}`
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, "p.go", text, 0)
	require.NoError(t, err)
	assert.ElementsMatch(t, []string{
		"line 6 imports os", "line 12 uses math/rand/v2.IntN", "line 15 uses time.Since",
	}, impurities(file, set))
}

func TestOnlyTheEdgeMakesStatuses(t *testing.T) {
	makers := oneOf("New", "Newf", "Error", "Errorf", "ErrorProto", "FromProto")
	for _, s := range ownSources(t) {
		if s.isTest || fits(s.pkg.name(), "server/rpc/...") {
			continue
		}
		for _, path := range []string{"google.golang.org/grpc/status", "google.golang.org/grpc/codes"} {
			if fits(s.pkg.name(), "client/api") {
				continue
			}
			assert.False(t, imports(s.file, path), "%s imports %s: only server/rpc makes statuses and only client/api reads them",
				s.path, path)
		}
		for _, use := range uses(s.file, "google.golang.org/grpc/status") {
			assert.False(t, makers(use.Sel.Name), "%s:%d makes a status: only server/rpc does", s.path, s.line(use.Pos()))
		}
	}
}

func TestOnlyTheStoreSpeaksToPostgres(t *testing.T) {
	for _, s := range ownSources(t) {
		name := s.pkg.name()
		if fits(name, "server/store/...") || fits(name, "server/pgtest") || s.isTest {
			continue
		}
		for _, spec := range s.file.Imports {
			assert.False(t, fits(importPath(spec), "github.com/jackc/..."), "%s imports %s: only server/store speaks SQL",
				s.path, importPath(spec))
		}
	}
}

func imports(file *ast.File, path string) bool {
	return slices.ContainsFunc(file.Imports, func(spec *ast.ImportSpec) bool { return importPath(spec) == path })
}
