package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/domain"
)

func TestHeadsAreKeptOnceEachAndReadBack(t *testing.T) {
	path := filepath.Join(t.TempDir(), "data", "heads.jsonl")
	file, err := openHeads(path)
	require.NoError(t, err)
	none, err := file.of("north")
	require.NoError(t, err)
	assert.Empty(t, none)
	when := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	head := func(studio string, revision int64) domain.TraceHead {
		return domain.TraceHead{StudioID: studio, Revision: revision, ChainSHA256: [32]byte{byte(revision)}, Time: when}
	}
	require.NoError(t, file.keep([]domain.TraceHead{head("north", 1), head("south", 5)}))
	require.NoError(t, file.keep([]domain.TraceHead{head("north", 2), head("south", 5)}))
	file, err = openHeads(path) // as after a restart
	require.NoError(t, err)
	require.NoError(t, file.keep([]domain.TraceHead{head("north", 2), head("south", 5)}))
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, 3, strings.Count(string(text), "\n"), "what did not go on is not kept again")
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	heads, err := file.of("north")
	require.NoError(t, err)
	assert.Equal(t, []domain.TraceHead{head("north", 1), head("north", 2)}, heads)
}

func TestADamagedHeadFileIsNoEmptyOne(t *testing.T) {
	path := filepath.Join(t.TempDir(), "heads.jsonl")
	require.NoError(t, os.WriteFile(path, []byte("{\"studio\":\"north\",\"revision\":1,\"chain_sha256\":\"ab\"}\n"), 0o600))
	file, err := openHeads(path)
	require.NoError(t, err)
	_, err = file.of("north")
	assert.ErrorContains(t, err, "is no link")
	require.NoError(t, os.WriteFile(path, []byte("half a li"), 0o600))
	_, err = openHeads(path)
	assert.ErrorContains(t, err, "line 1")
}
