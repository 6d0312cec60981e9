package archtest

import (
	"bytes"
	"go/ast"
	"go/parser"
	"go/token"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What a reader can hold in mind at once; more fails.
const (
	mostFunctionLines     = 70
	mostTestFunctionLines = 120
	mostFileLines         = 700
	mostParameters        = 5
	mostBranches          = 15 // cyclomatic complexity
)

func TestEverythingExportedIsDocumented(t *testing.T) {
	documented := map[string]bool{}
	for _, s := range ownSources(t) {
		if s.isTest {
			continue
		}
		documented[s.pkg.name()] = documented[s.pkg.name()] || hasText(s.file.Doc)
		for _, decl := range s.file.Decls {
			for _, name := range undocumented(decl) {
				assert.Fail(t, "no doc comment", "%s:%d exports %s without a comment on meaning, unit, range and errors",
					s.path, s.line(name.Pos()), name.Name)
			}
		}
	}
	for name, ok := range documented {
		assert.True(t, ok, "package %s has no package comment", name)
	}
}

// undocumented lists the exported names of a declaration that no comment explains. A comment on a group speaks for its
// members, and a comment on a type for the constants of that type.
func undocumented(decl ast.Decl) (names []*ast.Ident) {
	switch d := decl.(type) {
	case *ast.FuncDecl:
		if d.Name.IsExported() && onExportedType(d) && !hasText(d.Doc) {
			names = append(names, d.Name)
		}
	case *ast.GenDecl:
		grouped := hasText(d.Doc)
		for _, spec := range d.Specs {
			names = append(names, undocumentedIn(spec, grouped)...)
		}
	}
	return names
}

func undocumentedIn(spec ast.Spec, grouped bool) (names []*ast.Ident) {
	switch s := spec.(type) {
	case *ast.TypeSpec:
		if s.Name.IsExported() && !grouped && !hasText(s.Doc) && !hasText(s.Comment) {
			names = append(names, s.Name)
		}
	case *ast.ValueSpec:
		_, ofNamedType := s.Type.(*ast.Ident)
		for _, name := range s.Names {
			if name.IsExported() && !grouped && !ofNamedType && !hasText(s.Doc) && !hasText(s.Comment) {
				names = append(names, name)
			}
		}
	}
	return names
}

// onExportedType is true of functions too; methods of unexported types serve interfaces that are documented elsewhere.
func onExportedType(d *ast.FuncDecl) bool {
	if d.Recv == nil || len(d.Recv.List) == 0 {
		return true
	}
	for expr := d.Recv.List[0].Type; ; {
		switch e := expr.(type) {
		case *ast.StarExpr:
			expr = e.X
		case *ast.IndexExpr:
			expr = e.X
		case *ast.IndexListExpr:
			expr = e.X
		case *ast.Ident:
			return e.IsExported()
		default:
			return true
		}
	}
}

func hasText(group *ast.CommentGroup) bool {
	return group != nil && strings.TrimSpace(group.Text()) != ""
}

func TestFilesAreShort(t *testing.T) {
	for _, s := range ownSources(t) {
		lines := bytes.Count(s.text, []byte("\n"))
		assert.LessOrEqual(t, lines, mostFileLines, "%s has %d lines; split it by subject", s.path, lines)
	}
}

func TestFunctionsAreShortAndPlain(t *testing.T) {
	for _, s := range ownSources(t) {
		most := mostFunctionLines
		if s.isTest {
			most = mostTestFunctionLines
		}
		for _, decl := range s.file.Decls {
			function, ok := decl.(*ast.FuncDecl)
			if !ok || function.Body == nil {
				continue
			}
			where, line := function.Name.Name, s.line(function.Pos())
			lines := s.line(function.End()) - line + 1
			assert.LessOrEqual(t, lines, most, "%s:%d %s has %d lines", s.path, line, where, lines)
			parameters := function.Type.Params.NumFields()
			assert.LessOrEqual(t, parameters, mostParameters, "%s:%d %s has %d parameters; take a struct", s.path, line, where, parameters)
			branches := complexity(function.Body)
			assert.LessOrEqual(t, branches, mostBranches, "%s:%d %s has %d ways through it", s.path, line, where, branches)
		}
	}
}

// complexity is McCabe's: one and one more for each branch. Functions within count for themselves.
func complexity(body *ast.BlockStmt) int {
	total := 1
	ast.Inspect(body, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.FuncLit:
			return false
		case *ast.IfStmt, *ast.ForStmt, *ast.RangeStmt:
			total++
		case *ast.CaseClause:
			if n.List != nil {
				total++
			}
		case *ast.CommClause:
			if n.Comm != nil {
				total++
			}
		case *ast.BinaryExpr:
			if n.Op == token.LAND || n.Op == token.LOR {
				total++
			}
		}
		return true
	})
	return total
}

func TestStyleFaultsAreSeen(t *testing.T) {
	const text = `package p

type Bare struct{}

// Told is documented.
type Told string

const (
	Member Told = "a"
	Loose       = 1
	Beside      = 2 // the unit
)

// Both speak for each other.
var (
	One int
	Two int
)

func (Bare) Method() {}
func (hidden) Method() {}

type hidden struct{}

// F has a loop, an if with two conditions, two cases and a function within.
func F(n int) {
	for n > 0 && n < 9 {
		if n == 1 || n == 2 {
			n++
		}
	}
	switch n {
	case 1:
	case 2:
	default:
		_ = func() bool { return n > 1 && n < 5 }
	}
}
`
	file, err := parser.ParseFile(token.NewFileSet(), "p.go", text, parser.ParseComments)
	require.NoError(t, err)
	var names []string
	for _, decl := range file.Decls {
		for _, name := range undocumented(decl) {
			names = append(names, name.Name)
		}
	}
	assert.Equal(t, []string{"Bare", "Loose", "Method"}, names)
	last := file.Decls[len(file.Decls)-1].(*ast.FuncDecl)
	assert.Equal(t, 7, complexity(last.Body), "one, a loop, an if, two conditions more, two cases")
}
