package cluster

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
)

// childFolder makes this test binary a server on the folder that it names, until it is killed.
const childFolder = "CLUSTER_TEST_CHILD_FOLDER"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childFolder); dir != "" {
		serveUntilKilled(dir)
	}
	os.Exit(m.Run())
}

func serveUntilKilled(dir string) {
	c, err := Start(context.Background(), Options{DataDir: dir})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	fmt.Println(c.PID(), c.ConnString())
	select {}
}

// newDir is a data folder that user postgres can reach; it does not exist yet.
func newDir(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "cluster-test-")
	require.NoError(t, err)
	require.NoError(t, os.Chmod(dir, 0o711))
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(dir)) })
	return filepath.Join(dir, "postgres")
}

func startIn(t testing.TB, dir string) *Cluster {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	c, err := Start(ctx, Options{DataDir: dir})
	require.NoError(t, err)
	t.Cleanup(func() { stop(t, c) })
	return c
}

func stop(t testing.TB, c *Cluster) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	require.NoError(t, c.Stop(ctx))
}

// query runs one statement, trying again for a while: the database may be on its way up.
func query(t testing.TB, connString, sql string, args ...any) (result string) {
	t.Helper()
	require.Eventually(t, func() bool {
		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
		defer cancel()
		conn, err := pgx.Connect(ctx, connString)
		if err != nil {
			return false
		}
		defer conn.Close(ctx)
		return conn.QueryRow(ctx, sql, args...).Scan(&result) == nil
	}, 30*time.Second, 20*time.Millisecond, sql)
	return result
}

func fill(t testing.TB, connString string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), connString)
	require.NoError(t, err)
	defer conn.Close(t.Context())
	_, err = conn.Exec(t.Context(), "CREATE TABLE kept AS SELECT generate_series(1, 1000) AS n")
	require.NoError(t, err)
}

const countKept = "SELECT count(*)::text FROM kept"

func TestAFreshClusterServesOnAPrivateSocketOnly(t *testing.T) {
	t.Parallel()
	dir := newDir(t)
	c := startIn(t, dir)

	require.Equal(t, databaseName, query(t, c.ConnString(), "SELECT current_database()::text"))
	require.Equal(t, "", query(t, c.ConnString(), "SELECT current_setting('listen_addresses')"))
	require.Equal(t, "on", query(t, c.ConnString(), "SELECT current_setting('fsync')"))
	require.Equal(t, "UTC", query(t, c.ConnString(), "SELECT current_setting('timezone')"))
	for path, mode := range map[string]fs.FileMode{dir: 0o700, c.folder.passwordFile(): 0o600, c.socket: 0o700} {
		info, err := os.Stat(path)
		require.NoError(t, err)
		require.Equal(t, mode, info.Mode().Perm(), path)
		require.Equal(t, c.folder.owner.uid, uidOf(info), path)
	}

	wrong := strings.Replace(c.ConnString(), c.password, "guess", 1)
	_, err := pgx.Connect(t.Context(), wrong)
	require.ErrorContains(t, err, "password authentication failed")
}

func TestARestartKeepsDataAndAddress(t *testing.T) {
	t.Parallel()
	dir := newDir(t)
	first := startIn(t, dir)
	fill(t, first.ConnString())
	stop(t, first)
	require.Zero(t, first.PID())
	require.NoFileExists(t, filepath.Join(first.socket, ".s.PGSQL."+port))
	err, open := <-first.Exited()
	require.False(t, open)
	require.NoError(t, err)

	second := startIn(t, dir)
	require.Equal(t, first.ConnString(), second.ConnString())
	require.Equal(t, "1000", query(t, second.ConnString(), countKept))
}

func TestAKilledPostgresComesBackWithWhatWasCommitted(t *testing.T) {
	t.Parallel()
	c := startIn(t, newDir(t))
	fill(t, c.ConnString())
	for range 2 {
		killed := c.PID()
		require.NoError(t, syscall.Kill(killed, syscall.SIGKILL))
		require.Equal(t, "1000", query(t, c.ConnString(), countKept))
		require.Eventually(t, func() bool { return c.PID() != killed && c.PID() != 0 }, 10*time.Second, 5*time.Millisecond)
	}
}

func TestAHungSessionDoesNotKeepAKilledPostgresDown(t *testing.T) {
	t.Parallel()
	c := startIn(t, newDir(t))
	fill(t, c.ConnString())
	killed := c.PID()
	for _, pid := range c.folder.processes() {
		if pid == killed {
			continue
		}
		// A session that was just left may end between the listing and here.
		if err := syscall.Kill(pid, syscall.SIGSTOP); !errors.Is(err, syscall.ESRCH) {
			require.NoError(t, err)
		}
	}
	require.NoError(t, syscall.Kill(killed, syscall.SIGKILL))
	require.Equal(t, "1000", query(t, c.ConnString(), countKept))
}

func TestAPostgresThatCannotStartAgainIsGivenUpWithTheCause(t *testing.T) {
	t.Parallel()
	hasty := patience{firstDelay: time.Millisecond, longDelay: time.Millisecond, mostFailures: 3}
	c, err := start(t.Context(), Options{DataDir: newDir(t)}, hasty)
	require.NoError(t, err)
	t.Cleanup(func() { stop(t, c) })

	here, away := filepath.Join(c.folder.data(), "global"), filepath.Join(c.folder.dir, "global")
	require.NoError(t, os.Rename(here, away))
	require.NoError(t, syscall.Kill(c.PID(), syscall.SIGKILL))
	select {
	case err := <-c.Exited():
		require.ErrorContains(t, err, "failed to start 3 times in a row")
		require.ErrorContains(t, err, "could not find the database system")
	case <-time.After(30 * time.Second):
		require.Fail(t, "supervision goes on for ever")
	}
	_, open := <-c.Exited()
	require.False(t, open, "after the reason the channel is closed, and the folder free")
	require.Zero(t, c.PID())

	require.NoError(t, os.Rename(away, here))
	require.Equal(t, "1", query(t, startIn(t, c.folder.dir).ConnString(), "SELECT '1'"), "mended, the folder serves again")
}

func TestASecondServerOnTheSameFolderIsRefused(t *testing.T) {
	t.Parallel()
	c := startIn(t, newDir(t))
	_, err := Start(t.Context(), Options{DataDir: c.folder.dir})
	require.ErrorIs(t, err, ErrFolderInUse)
	require.ErrorContains(t, err, strconv.Itoa(os.Getpid()))
	require.Equal(t, "1", query(t, c.ConnString(), "SELECT '1'"), "the first one goes on")
}

func TestPostgresDiesWithItsServerAndTheNextOneTakesOver(t *testing.T) {
	t.Parallel()
	dir := newDir(t)
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childFolder+"="+dir)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err)
	pidText, connString, _ := strings.Cut(strings.TrimSpace(line), " ")
	postmaster, err := strconv.Atoi(pidText)
	require.NoError(t, err)
	fill(t, connString)

	require.NoError(t, cmd.Process.Kill())
	require.Error(t, cmd.Wait())
	next := startIn(t, dir)
	_, err = os.Readlink(filepath.Join("/proc", strconv.Itoa(postmaster), "exe"))
	require.ErrorIs(t, err, fs.ErrNotExist, "the killed server's PostgreSQL is gone, or a zombie at most")
	require.Equal(t, "1000", query(t, next.ConnString(), countKept))
}

func TestAStalePIDFileWithAStrangersNumberIsNoHindrance(t *testing.T) {
	t.Parallel()
	dir := newDir(t)
	c := startIn(t, dir)
	fill(t, c.ConnString())
	stop(t, c)
	stale := fmt.Sprintf("%d\n%s\n", os.Getpid(), c.folder.data())
	require.NoError(t, os.WriteFile(c.folder.pidFile(), []byte(stale), 0o600))
	require.NoError(t, c.folder.owner.give(c.folder.pidFile()))
	require.NoError(t, makeSocketFolder(c.socket, c.folder.owner))
	stranger := exec.Command("sleep", "60")
	c.folder.dress(stranger, 0) // PostgreSQL takes only a process of its own account for another of its kind
	require.NoError(t, stranger.Start())
	t.Cleanup(func() {
		_ = stranger.Process.Kill()
		_ = stranger.Wait()
	})
	lock := fmt.Sprintf("%d\n%s\n%d\n%s\n%s\n", stranger.Process.Pid, c.folder.data(), time.Now().Unix(), port, c.socket)
	require.NoError(t, os.WriteFile(socketLock(c.socket), []byte(lock), 0o600))
	require.NoError(t, c.folder.owner.give(socketLock(c.socket)))

	require.Equal(t, "1000", query(t, startIn(t, dir).ConnString(), countKept))
}

func TestADamagedFolderIsRefusedWithTheCause(t *testing.T) {
	t.Parallel()
	dir := newDir(t)
	c := startIn(t, dir)
	stop(t, c)

	require.NoError(t, os.Rename(c.folder.passwordFile(), c.folder.passwordFile()+".away"))
	_, err := Start(t.Context(), Options{DataDir: dir})
	require.ErrorContains(t, err, "password is missing")
	require.NoError(t, os.Rename(c.folder.passwordFile()+".away", c.folder.passwordFile()))

	require.NoError(t, os.Rename(filepath.Join(c.folder.data(), "global"), filepath.Join(dir, "global")))
	_, err = Start(t.Context(), Options{DataDir: dir})
	require.ErrorContains(t, err, "did not start")
	require.ErrorContains(t, err, "could not find the database system", "PostgreSQL's own words are quoted")

	version := filepath.Join(c.folder.data(), "PG_VERSION")
	require.NoError(t, os.WriteFile(version, []byte("9\n"), 0o600))
	_, err = Start(t.Context(), Options{DataDir: dir})
	require.ErrorIs(t, err, ErrOtherMajor)
	require.ErrorContains(t, err, "made by version 9")
}

func TestAnUnfinishedInitialisationIsMadeAnew(t *testing.T) {
	t.Parallel()
	dir := newDir(t)
	f, err := openFolder(dir)
	require.NoError(t, err)
	require.NoError(t, os.MkdirAll(filepath.Join(f.unfinished(), "base"), 0o700))
	f.unlock()
	require.Equal(t, "1", query(t, startIn(t, dir).ConnString(), "SELECT '1'"))
}

// BenchmarkFirstStart and BenchmarkWarmStart go from the call to a server that accepts connections, and down again.
func BenchmarkFirstStart(b *testing.B) {
	for b.Loop() {
		stop(b, startIn(b, newDir(b)))
	}
}

func BenchmarkWarmStart(b *testing.B) {
	dir := newDir(b)
	stop(b, startIn(b, dir))
	for b.Loop() {
		stop(b, startIn(b, dir))
	}
}
