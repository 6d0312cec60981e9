package cluster

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// install writes a pretended installation that only tells its version.
func install(t *testing.T, version string) string {
	t.Helper()
	dir := t.TempDir()
	script := "#!/bin/sh\necho 'postgres (PostgreSQL) " + version + "'\n"
	require.NoError(t, os.WriteFile(filepath.Join(dir, "postgres"), []byte(script), 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "initdb"), nil, 0o755))
	return dir
}

func TestFindPrograms(t *testing.T) {
	old, fifteen, eighteen := install(t, "13.14"), install(t, "15.18 (Debian 15.18-0+deb12u1)"), install(t, "18beta1")
	broken := t.TempDir()
	for name, c := range map[string]struct {
		folders []string
		wanted  int
		dir     string
		err     error
		says    string
	}{
		"newest":               {folders: []string{fifteen, broken, eighteen, old}, dir: eighteen},
		"wanted beats newest":  {folders: []string{fifteen, eighteen}, wanted: 15, dir: fifteen},
		"old data, old binary": {folders: []string{eighteen, old}, wanted: 13, dir: old},
		"other major":          {folders: []string{eighteen, old}, wanted: 15, err: ErrOtherMajor, says: "installed is 18, 13; install postgresql-15"},
		"too old":              {folders: []string{old}, err: ErrNoPostgres, says: "found only version 13"},
		"none":                 {folders: []string{broken}, err: ErrNoPostgres, says: "apt-get install postgresql"},
		"none for data":        {folders: nil, wanted: 15, err: ErrNoPostgres, says: "apt-get install postgresql"},
	} {
		t.Run(name, func(t *testing.T) {
			p, err := findPrograms(t.Context(), c.folders, c.wanted)
			if c.err != nil {
				require.ErrorIs(t, err, c.err)
				require.ErrorContains(t, err, c.says)
				return
			}
			require.NoError(t, err)
			assert.Equal(t, c.dir, p.dir)
		})
	}
}

func TestFoldersThatCannotServeAreRefused(t *testing.T) {
	t.Run("no folder", func(t *testing.T) {
		_, err := Start(t.Context(), Options{})
		require.ErrorContains(t, err, "no data folder given")
	})
	t.Run("a file", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "file")
		require.NoError(t, os.WriteFile(path, nil, 0o600))
		_, err := Start(t.Context(), Options{DataDir: path})
		require.ErrorContains(t, err, "is a file")
	})
	t.Run("closed to user postgres", func(t *testing.T) {
		if os.Geteuid() != 0 {
			t.Skip("only root runs PostgreSQL as another user")
		}
		closed := t.TempDir()
		require.NoError(t, os.Chmod(closed, 0o700))
		_, err := Start(t.Context(), Options{DataDir: filepath.Join(closed, "postgres")})
		require.ErrorContains(t, err, "cannot enter")
		require.ErrorContains(t, err, "chmod a+x")
	})
	t.Run("somebody's files", func(t *testing.T) {
		if os.Geteuid() != 0 {
			t.Skip("only root can make a folder that belongs to another user")
		}
		dir := t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(dir, "letter"), nil, 0o600))
		_, err := Start(t.Context(), Options{DataDir: dir})
		require.ErrorContains(t, err, "is not empty")
	})
}

func TestSocketPathsStayShort(t *testing.T) {
	t.Setenv("TMPDIR", "/"+strings.Repeat("long/", 30))
	path := socketFolder("/" + strings.Repeat("deep/", 50))
	assert.LessOrEqual(t, len(path+"/.s.PGSQL."+port), 107)
	assert.NotEqual(t, path, socketFolder("/elsewhere"), "each data folder has its own socket")
}

func TestASocketFolderLaidOutByAStrangerIsRefused(t *testing.T) {
	account, err := findOwner()
	require.NoError(t, err)
	open := filepath.Join(t.TempDir(), "open")
	require.NoError(t, os.Mkdir(open, 0o700))
	require.NoError(t, os.Chmod(open, 0o777))
	require.ErrorContains(t, makeSocketFolder(open, account), "remove it")

	link := filepath.Join(t.TempDir(), "link")
	require.NoError(t, os.Symlink(t.TempDir(), link))
	require.ErrorContains(t, makeSocketFolder(link, account), "remove it")

	require.NoError(t, makeSocketFolder(filepath.Join(t.TempDir(), "new"), account))
}
