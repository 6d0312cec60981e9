package migrations

import (
	"io/fs"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestEveryStepKeepsTheConventions(t *testing.T) {
	latest, err := Latest()
	require.NoError(t, err)
	require.Positive(t, latest)
	names, err := fs.Glob(Files(), "*.sql")
	require.NoError(t, err)
	for _, name := range names {
		text, err := fs.ReadFile(Files(), name)
		require.NoError(t, err)
		for _, braces := range []string{"{{", "}}"} {
			assert.False(t, strings.Contains(string(text), braces), "%s holds %s", name, braces)
		}
		_, down, _ := strings.Cut(string(text), "\n---- create above / drop below ----\n")
		assert.NotEmpty(t, strings.TrimSpace(down), "%s does not say how it is undone", name)
	}
}

func TestNamesAndNumbers(t *testing.T) {
	for name, c := range map[string]struct {
		files []string
		want  int
		says  string
	}{
		"none":     {nil, 0, ""},
		"in order": {[]string{"0001_create_studios.sql", "0002_add_furnace_notes.sql"}, 2, ""},
		"gap":      {[]string{"0001_create_studios.sql", "0003_add_furnace_notes.sql"}, 0, "the next number is 0002"},
		"twice":    {[]string{"0001_create_studios.sql", "0001_create_rooms.sql"}, 0, "the next number is 0002"},
		"no verb":  {[]string{"0001_studios.sql"}, 0, "must look like"},
		"short":    {[]string{"1_create_studios.sql"}, 0, "must look like"},
	} {
		t.Run(name, func(t *testing.T) {
			fsys := fstest.MapFS{}
			for _, file := range c.files {
				fsys[file] = &fstest.MapFile{}
			}
			latest, err := latestOf(fsys)
			if c.says != "" {
				require.ErrorContains(t, err, c.says)
				return
			}
			require.NoError(t, err)
			assert.Equal(t, c.want, latest)
		})
	}
}

func TestTheHashFollowsNamesAndContents(t *testing.T) {
	seen := map[string]string{}
	for name, fsys := range map[string]fstest.MapFS{
		"base":    {"0001_a_b.sql": {Data: []byte("one")}, "0002_a_b.sql": {Data: []byte("two")}},
		"content": {"0001_a_b.sql": {Data: []byte("one ")}, "0002_a_b.sql": {Data: []byte("two")}},
		"name":    {"0001_a_c.sql": {Data: []byte("one")}, "0002_a_b.sql": {Data: []byte("two")}},
		"moved":   {"0001_a_b.sql": {Data: []byte("onetwo")}, "0002_a_b.sql": {Data: []byte("")}},
	} {
		hash, err := hashOf(fsys)
		require.NoError(t, err)
		require.Len(t, hash, 64)
		require.NotContains(t, seen, hash, "%s has the hash of %s", name, seen[hash])
		seen[hash] = name
	}
}
