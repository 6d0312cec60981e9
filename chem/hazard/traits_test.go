package hazard

import (
	"go/ast"
	"go/parser"
	"go/token"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestEveryTraitIsListed reads the constants from the source, since a trait that is forgotten could be named in no rule.
func TestEveryTraitIsListed(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "hazard.go", nil, 0)
	require.NoError(t, err)
	var written []Trait
	ast.Inspect(file, func(n ast.Node) bool {
		spec, ok := n.(*ast.ValueSpec)
		if !ok || spec.Type == nil || len(spec.Values) != 1 {
			return true
		}
		if name, ok := spec.Type.(*ast.Ident); ok && name.Name == "Trait" {
			text, err := strconv.Unquote(spec.Values[0].(*ast.BasicLit).Value)
			require.NoError(t, err)
			written = append(written, Trait(text))
		}
		return true
	})
	assert.ElementsMatch(t, written, Traits())
	assert.Greater(t, len(written), 30)
}
