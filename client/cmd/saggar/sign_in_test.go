package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/metadata"

	saggarv1 "saggar/proto/saggar/v1"
)

// atHome runs a command line as a user who set nothing but their home, with something typed.
func (f *fakeServer) atHome(home, input string, args ...string) ran {
	f.t.Helper()
	var out, errOut strings.Builder
	env := map[string]string{"HOME": home, "XDG_DATA_HOME": home}
	s := &shell{
		in: strings.NewReader(input), out: &out, errOut: &errOut,
		lookupEnv: func(name string) (string, bool) { value, ok := env[name]; return value, ok },
	}
	code := s.run(f.t.Context(), args)
	return ran{out.String(), errOut.String(), code}
}

func (f *fakeServer) address() string { return "unix:" + filepath.Join(f.dir, "s") }

// written reads a file of the user's config folder, which nobody else may read.
func configFile(t *testing.T, home, name string) string {
	t.Helper()
	path := filepath.Join(home, ".config", "saggar", name)
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm(), path)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(text)
}

func TestSigningInKeepsServerStudioAndKey(t *testing.T) {
	f, home := newFakeServer(t), t.TempDir()
	f.answer("GetCaller", &saggarv1.Caller{Id: "ada", Memberships: []*saggarv1.Membership{
		{Studio: "studios/marl-lane", Person: "ada", Role: saggarv1.Role_ROLE_MAKER},
	}})
	r := f.atHome(home, "s3cret\n", "sign-in", "--server", f.address(), "--context", "north")
	require.Equal(t, 0, r.code, r.errOut)
	assert.NotContains(t, r.out+r.errOut, "s3cret")
	assert.Equal(t, "s3cret\n", configFile(t, home, "keys/north.key"))
	assert.Contains(t, configFile(t, home, "contexts.yaml"), "studio: marl-lane")
	assert.NotContains(t, configFile(t, home, "contexts.yaml"), "s3cret")

	f.answer("ListRooms", &saggarv1.ListRoomsResponse{})
	r = f.atHome(home, "", "room", "list")
	require.Equal(t, 0, r.code, r.errOut)
	assert.Equal(t, "studios/marl-lane", asked[*saggarv1.ListRoomsRequest](f).GetParent())
	assert.Equal(t, "Bearer s3cret", f.lastKey())

	r = f.atHome(home, "", "context", "list", "--output", "csv")
	assert.Contains(t, r.out, "north,yes,"+f.address()+",marl-lane")
	require.Equal(t, 0, f.atHome(home, "", "sign-out").code)
	assert.NoFileExists(t, filepath.Join(home, ".config", "saggar", "keys", "north.key"))
	r = f.atHome(home, "", "room", "list", "--server", f.address())
	assert.Equal(t, 2, r.code)
	assert.Contains(t, r.errOut, "saggar sign-in")
}

func TestAContextsKeyGoesToItsOwnServerOnly(t *testing.T) {
	f, home := newFakeServer(t), t.TempDir()
	f.answer("GetCaller", &saggarv1.Caller{Id: "ada", Role: saggarv1.Role_ROLE_MAKER})
	require.Equal(t, 0, f.atHome(home, "s3cret", "sign-in", "--server", f.address()).code)
	other := newFakeServer(t)
	r := f.atHome(home, "", "caller", "show", "--server", other.address())
	assert.Equal(t, 2, r.code)
	assert.Contains(t, r.errOut, "no key")
	r = f.atHome(home, "", "caller", "show", "--server", other.address(), "--context", "default")
	assert.Equal(t, 2, r.code)
	assert.Contains(t, r.errOut, "is not the server of context default")
	assert.Empty(t, other.seen)
}

func TestTheFirstKeyIsExchangedAtSignIn(t *testing.T) {
	f, home := newFakeServer(t), t.TempDir()
	first := filepath.Join(home, "saggar", "first.key")
	if os.Geteuid() == 0 {
		first = filepath.Join(f.dir, "first.key") // root's own would be under /var/lib
	}
	require.NoError(t, os.MkdirAll(filepath.Dir(first), 0o700))
	require.NoError(t, os.WriteFile(first, []byte("one-time"), 0o600))
	f.answer("GetCaller", &saggarv1.Caller{Id: "steward", MustExchange: true}, &saggarv1.Caller{Id: "steward", Role: saggarv1.Role_ROLE_STEWARD})
	f.answer("ExchangeAccessKey", &saggarv1.AccessKey{Caller: "steward", Secret: "lasting"})
	r := f.atHome(home, "", "sign-in", "--server", f.address(), "--key-file", first)
	require.Equal(t, 0, r.code, r.errOut)
	assert.Equal(t, "lasting\n", configFile(t, home, "keys/default.key"))
	assert.NoFileExists(t, first, "what is used up is removed")
	assert.Equal(t, "Bearer lasting", f.lastKey())
	assert.NotContains(t, r.out+r.errOut, "lasting\n")
}

func TestTheFirstKeyOfThisMachineGoesToNoOther(t *testing.T) {
	if os.Geteuid() == 0 {
		t.Skip("root's first key would be under /var/lib")
	}
	home := t.TempDir()
	require.NoError(t, os.MkdirAll(filepath.Join(home, "saggar"), 0o700))
	require.NoError(t, os.WriteFile(filepath.Join(home, "saggar", "first.key"), []byte("one-time"), 0o600))
	r := newFakeServer(t).atHome(home, "", "caller", "show", "--server", "192.0.2.1:7817")
	assert.Equal(t, 2, r.code)
	assert.Contains(t, r.errOut, "no key")
}

func TestANewKeyThatCannotBeKeptIsShownRatherThanLost(t *testing.T) {
	f, home := newFakeServer(t), t.TempDir()
	config := filepath.Join(home, ".config", "saggar")
	require.NoError(t, os.MkdirAll(config, 0o700))
	require.NoError(t, os.WriteFile(filepath.Join(config, "keys"), nil, 0o600)) // no folder can be made there
	first := filepath.Join(f.dir, "first.key")
	require.NoError(t, os.WriteFile(first, []byte("one-time"), 0o600))
	f.answer("GetCaller", &saggarv1.Caller{Id: "steward", MustExchange: true}, &saggarv1.Caller{Id: "steward", Role: saggarv1.Role_ROLE_STEWARD})
	f.answer("ExchangeAccessKey", &saggarv1.AccessKey{Caller: "steward", Secret: "lasting"})
	r := f.atHome(home, "", "sign-in", "--server", f.address(), "--key-file", first)
	assert.NotEqual(t, 0, r.code)
	assert.Contains(t, r.errOut, "shown here: lasting")
}

func TestContextsAreSwitched(t *testing.T) {
	f, home := newFakeServer(t), t.TempDir()
	f.answer("GetCaller", &saggarv1.Caller{Id: "ada", Role: saggarv1.Role_ROLE_MAKER})
	for _, name := range []string{"north", "south"} {
		require.Equal(t, 0, f.atHome(home, "key-of-"+name, "sign-in", "--server", f.address(), "--context", name).code)
	}
	f.atHome(home, "", "caller", "show")
	assert.Equal(t, "Bearer key-of-south", f.lastKey())
	f.atHome(home, "", "caller", "show", "--context", "north")
	assert.Equal(t, "Bearer key-of-north", f.lastKey())
	require.Equal(t, 0, f.atHome(home, "", "context", "use", "north").code)
	f.atHome(home, "", "caller", "show")
	assert.Equal(t, "Bearer key-of-north", f.lastKey())
	r := f.atHome(home, "", "context", "use", "east")
	assert.Equal(t, 2, r.code)
	assert.Contains(t, r.errOut, "north, south")
}

func TestKeysAreListedRevokedAndExchanged(t *testing.T) {
	f, home := newFakeServer(t), t.TempDir()
	key := &saggarv1.AccessKey{Name: "studios/marl-lane/accessKeys/k1", Caller: "ada", Role: saggarv1.Role_ROLE_MAKER, Label: "desk"}
	f.answer("ListAccessKeys", &saggarv1.ListAccessKeysResponse{AccessKeys: []*saggarv1.AccessKey{key}})
	assert.Contains(t, f.succeed("key", "list"), "desk")
	f.answer("RevokeAccessKey", key)
	f.succeed("key", "revoke", "k1")
	assert.Equal(t, "studios/marl-lane/accessKeys/k1", asked[*saggarv1.RevokeAccessKeyRequest](f).GetName())
	f.succeed("key", "revoke", "k1", "--server-wide")
	assert.Equal(t, "accessKeys/k1", asked[*saggarv1.RevokeAccessKeyRequest](f).GetName())

	f.answer("GetCaller", &saggarv1.Caller{Id: "ada", Role: saggarv1.Role_ROLE_MAKER})
	require.Equal(t, 0, f.atHome(home, "old", "sign-in", "--server", f.address()).code)
	f.answer("ExchangeAccessKey", &saggarv1.AccessKey{Caller: "ada", Secret: "renewed"})
	r := f.atHome(home, "", "key", "exchange")
	require.Equal(t, 0, r.code, r.errOut)
	assert.NotContains(t, r.out, "renewed", "it is kept, not shown")
	assert.Equal(t, "renewed\n", configFile(t, home, "keys/default.key"))
}

func TestASecretGoesIntoANewFileOfItsOwner(t *testing.T) {
	f := newFakeServer(t)
	f.answer("CreateAccessKey", &saggarv1.AccessKey{Caller: "ada", Role: saggarv1.Role_ROLE_MAKER, Secret: "s3cret"})
	path := filepath.Join(f.dir, "ada.key")
	out := f.succeed("key", "create", "ada", "--secret-file", path, "--expires", "2027-09-30")
	assert.NotContains(t, out, "s3cret")
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	expires := asked[*saggarv1.CreateAccessKeyRequest](f).GetAccessKey().GetExpireTime().AsTime()
	assert.Equal(t, "2027-10-01T00:00:00Z", expires.Format("2006-01-02T15:04:05Z07:00"), "the day itself still counts")
	r := f.run("key", "create", "ada", "--secret-file", path)
	assert.Equal(t, 0, r.code)
	assert.Contains(t, r.out, "s3cret", "a key that stands is shown rather than lost")
	assert.Contains(t, r.errOut, "could not be written")
}

// lastKey is what the last call carried as authorization.
func (f *fakeServer) lastKey() string {
	f.mu.Lock()
	defer f.mu.Unlock()
	if values := f.metadata.Get("authorization"); len(values) == 1 {
		return values[0]
	}
	return ""
}

func metadataOf(md metadata.MD, ok bool) metadata.MD {
	if !ok {
		return metadata.MD{}
	}
	return md
}
