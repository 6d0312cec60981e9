package account_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/client/account"
)

func modeOf(t *testing.T, path string) os.FileMode {
	t.Helper()
	info, err := os.Stat(path)
	require.NoError(t, err)
	return info.Mode().Perm()
}

func TestWhatIsKeptIsForItsOwnerOnly(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "config", "saggar")
	folder := account.In(dir)
	book, err := folder.Read()
	require.NoError(t, err, "nobody signed in yet")
	book = book.With("north", account.Context{Server: "north.example:7817", Studio: "north"})
	require.NoError(t, folder.Write(book))
	require.NoError(t, folder.WriteKey("north", "s3cret"))
	assert.Equal(t, os.FileMode(0o700), modeOf(t, dir))
	assert.Equal(t, os.FileMode(0o700), modeOf(t, filepath.Join(dir, "keys")))
	assert.Equal(t, os.FileMode(0o600), modeOf(t, filepath.Join(dir, "contexts.yaml")))
	assert.Equal(t, os.FileMode(0o600), modeOf(t, folder.KeyFile("north")))
	text, err := os.ReadFile(filepath.Join(dir, "contexts.yaml"))
	require.NoError(t, err)
	assert.NotContains(t, string(text), "s3cret")
	again, err := folder.Read()
	require.NoError(t, err)
	assert.Equal(t, book, again)

	require.NoError(t, folder.WriteKey("north", "other"), "a key is replaced")
	require.NoError(t, folder.RemoveKey("north"))
	require.NoError(t, folder.RemoveKey("north"), "forgetting twice is fine")
}

func TestABookThatOthersMayChangeIsRefused(t *testing.T) {
	dir := t.TempDir()
	folder := account.In(dir)
	require.NoError(t, folder.Write(account.Book{}))
	require.NoError(t, os.Chmod(filepath.Join(dir, "contexts.yaml"), 0o620))
	_, err := folder.Read()
	assert.ErrorContains(t, err, "can be changed by others")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "contexts.yaml"), []byte("contexts: [1"), 0o600))
	require.NoError(t, os.Chmod(filepath.Join(dir, "contexts.yaml"), 0o600))
	_, err = folder.Read()
	assert.ErrorContains(t, err, "sign in again")
}

func TestContextsAreNamed(t *testing.T) {
	book := account.Book{}.With("north", account.Context{Server: "a:1"}).With("south", account.Context{Server: "b:2"})
	name, c, ok, err := book.Named("")
	require.NoError(t, err)
	assert.True(t, ok)
	assert.Equal(t, "south", name, "the one signed in to last")
	assert.Equal(t, "b:2", c.Server)
	_, _, _, err = book.Named("east")
	assert.ErrorContains(t, err, "name one of north, south")
	_, _, ok, err = book.Without("south").Named("")
	require.NoError(t, err)
	assert.False(t, ok, "no other becomes current by itself")
	assert.Equal(t, []string{"north"}, book.Without("south").Names())
}

func TestTheFolderFollowsTheUser(t *testing.T) {
	lookup := func(pairs map[string]string) func(string) (string, bool) {
		return func(name string) (string, bool) { value, ok := pairs[name]; return value, ok }
	}
	assert.Equal(t, "/x/saggar", account.DefaultDir(lookup(map[string]string{"XDG_CONFIG_HOME": "/x", "HOME": "/home/ada"})))
	assert.Equal(t, "/home/ada/.config/saggar", account.DefaultDir(lookup(map[string]string{"XDG_CONFIG_HOME": "x", "HOME": "/home/ada"})))
	assert.Empty(t, account.DefaultDir(lookup(nil)))
	assert.Error(t, account.In("").WriteKey("north", "s3cret"))
}
