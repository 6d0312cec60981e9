package main

import (
	"net"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestASocketIsForItsOwnerOnly(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s")
	listener, err := listen("unix", path)
	require.NoError(t, err)
	defer listener.Close()
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	assert.Equal(t, "unix:"+path, addressOf(listener))

	_, err = listen("unix", path)
	assert.ErrorContains(t, err, "another server serves there")
}

func TestASocketOfADeadServerIsReplaced(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s")
	dead, err := net.ListenUnix("unix", &net.UnixAddr{Name: path, Net: "unix"})
	require.NoError(t, err)
	dead.SetUnlinkOnClose(false)
	require.NoError(t, dead.Close())
	listener, err := listen("unix", path)
	require.NoError(t, err)
	assert.NoError(t, listener.Close())
}

func TestNothingButASocketIsReplaced(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notes")
	require.NoError(t, os.WriteFile(path, []byte("mine"), 0o600))
	_, err := listen("unix", path)
	require.ErrorContains(t, err, "something else than a socket")
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "mine", string(content))
}

func TestPortZeroIsShownAsTaken(t *testing.T) {
	listener, err := listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer listener.Close()
	assert.NotEqual(t, "127.0.0.1:0", addressOf(listener))
}
