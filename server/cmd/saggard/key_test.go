package main

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func gives(secret string, made bool, err error) func(context.Context) (string, bool, error) {
	return func(context.Context) (string, bool, error) { return secret, made, err }
}

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
	require.NoError(t, keepFirstKey(t.Context(), gives("s3cret", true, nil), path, &said))
	assert.Equal(t, "saggard: first key written to "+path+"\n", said.String())
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "s3cret\n", string(content))
	assert.Equal(t, []string{"first.key"}, filesIn(t, filepath.Dir(path)))
}

func TestWithoutANewKeyNothingIsTouched(t *testing.T) {
	path := filepath.Join(t.TempDir(), "first.key")
	require.NoError(t, os.WriteFile(path, []byte("old\n"), 0o600))
	var said bytes.Buffer
	require.NoError(t, keepFirstKey(t.Context(), gives("", false, nil), path, &said))
	away := errors.New("away")
	require.ErrorIs(t, keepFirstKey(t.Context(), gives("", false, away), path, &said), away)
	assert.Empty(t, said.String())
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "old\n", string(content))
	assert.Equal(t, []string{"first.key"}, filesIn(t, filepath.Dir(path)))
}

func TestAKeyOfAnotherDatabaseIsMovedAside(t *testing.T) {
	path := filepath.Join(t.TempDir(), "first.key")
	require.NoError(t, os.WriteFile(path, []byte("old\n"), 0o600))
	var said bytes.Buffer
	require.NoError(t, keepFirstKey(t.Context(), gives("new", true, nil), path, &said))
	old, err := os.ReadFile(path + ".old")
	require.NoError(t, err)
	assert.Equal(t, "old\n", string(old))
	assert.Contains(t, said.String(), path+".old")
}

func TestNoKeyIsMadeThatCouldNotBeKept(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	err := keepFirstKey(t.Context(), func(context.Context) (string, bool, error) {
		t.Error("a key was made")
		return "", false, nil
	}, filepath.Join(file, "first.key"), os.Stderr)
	assert.Error(t, err)
}
