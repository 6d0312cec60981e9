package archtest

import (
	"go/ast"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestTheTestsThatAreNamedStand holds DEVELOPERS.md to what it says stands against which danger.
func TestTheTestsThatAreNamedStand(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(root(), "DEVELOPERS.md"))
	require.NoError(t, err)
	standing := map[string]bool{}
	for _, s := range ownSources(t) {
		if !s.isTest {
			continue
		}
		for _, declaration := range s.file.Decls {
			if function, ok := declaration.(*ast.FuncDecl); ok {
				standing[function.Name.Name] = true
			}
		}
	}
	named := regexp.MustCompile("`(Test[A-Z][A-Za-z0-9]+)`").FindAllStringSubmatch(string(text), -1)
	assert.Greater(t, len(named), 40)
	for _, name := range named {
		assert.True(t, standing[name[1]], "DEVELOPERS.md names %s, which is gone", name[1])
	}
}
