package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func filesIn(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	names := []string{}
	for _, entry := range entries {
		names = append(names, entry.Name())
	}
	return names
}

func TestTheFirstKeyIsForItsOwnerOnly(t *testing.T) {
	path := filepath.Join(t.TempDir(), "data", "first.key")
	var said bytes.Buffer
	require.NoError(t, firstKeyFile(path, &said)("s3cret"))
	assert.Equal(t, "saggard: first key, for one use within a day, written to "+path+"\n", said.String())
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "s3cret\n", string(content))
	assert.Equal(t, []string{"first.key"}, filesIn(t, filepath.Dir(path)))
}

func TestAKeyOfAnotherDatabaseIsMovedAside(t *testing.T) {
	path := filepath.Join(t.TempDir(), "first.key")
	require.NoError(t, os.WriteFile(path, []byte("old\n"), 0o600))
	var said bytes.Buffer
	require.NoError(t, firstKeyFile(path, &said)("new"))
	old, err := os.ReadFile(path + ".old")
	require.NoError(t, err)
	assert.Equal(t, "old\n", string(old))
	assert.Contains(t, said.String(), path+".old")
}

func TestAKeyThatCannotBeKeptIsAnError(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	assert.Error(t, firstKeyFile(filepath.Join(file, "first.key"), os.Stderr)("secret"))
}
