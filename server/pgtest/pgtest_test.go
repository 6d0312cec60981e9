package pgtest

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"saggar/migrations"
)

// childMark makes this test binary print where its database is, and then wait to be killed.
const childMark = "PGTEST_CHILD"

func scan(t *testing.T, connString, sql string, target any) error {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
	defer cancel()
	conn, err := pgx.Connect(ctx, connString)
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	return conn.QueryRow(ctx, sql).Scan(target)
}

func TestEachTestHasAMigratedDatabaseOfItsOwn(t *testing.T) {
	t.Parallel()
	latest, err := migrations.Latest()
	require.NoError(t, err)
	seen := map[string]bool{}
	for range 8 {
		connString := New(t)
		require.False(t, seen[connString])
		seen[connString] = true
		var version, tables int
		require.NoError(t, scan(t, connString, "SELECT version FROM public.schema_version", &version))
		require.Equal(t, latest, version)
		require.NoError(t, scan(t, connString, "SELECT count(*) FROM pg_class WHERE relname = 'mark'", &tables))
		require.Zero(t, tables, "the mark that the loop leaves in each database is in no other")
		require.NoError(t, execute(t.Context(), connString, "CREATE TABLE mark ()"))
	}
}

func TestTheDatabaseIsDroppedAtTheTestsEndEvenWhileInUse(t *testing.T) {
	t.Parallel()
	var connString string
	t.Run("user", func(t *testing.T) {
		connString = New(t)
		_, err := pgx.Connect(t.Context(), connString)
		require.NoError(t, err)
	})
	var one int
	require.ErrorContains(t, scan(t, connString, "SELECT 1", &one), "does not exist")
}

func TestTheTemplateTakesNoConnections(t *testing.T) {
	t.Parallel()
	New(t)
	s, err := sharedCluster()
	require.NoError(t, err)
	var one int
	require.ErrorContains(t, scan(t, inDatabase(s.admin, s.template), "SELECT 1", &one), "not currently accepting connections")
}

func TestADurableClusterSurvivesItsKill(t *testing.T) {
	t.Parallel()
	c := Durable(t)
	var fsync string
	require.NoError(t, scan(t, c.ConnString(), "SELECT current_setting('fsync')", &fsync))
	require.Equal(t, "on", fsync)
	require.NoError(t, execute(t.Context(), c.ConnString(), "CREATE TABLE kept AS SELECT 7 AS n"))
	require.NoError(t, syscall.Kill(c.PID(), syscall.SIGKILL))
	var n int
	require.Eventually(t, func() bool { return scan(t, c.ConnString(), "SELECT n FROM kept", &n) == nil },
		30*time.Second, 20*time.Millisecond)
	require.Equal(t, 7, n)
}

func TestNothingIsLeftOfAKilledTestBinary(t *testing.T) {
	t.Parallel()
	if os.Getenv(childMark) != "" {
		waitToBeKilled(t)
	}
	cmd := exec.Command(os.Args[0], "-test.run=^"+t.Name()+"$")
	cmd.Env = append(os.Environ(), childMark+"=1")
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err)
	connString := strings.TrimSpace(line)
	var data string
	require.NoError(t, scan(t, connString, "SELECT current_setting('data_directory')", &data))
	pidFile, err := os.ReadFile(filepath.Join(data, "postmaster.pid"))
	require.NoError(t, err)
	pid, _, _ := strings.Cut(string(pidFile), "\n")

	require.NoError(t, cmd.Process.Kill())
	require.Error(t, cmd.Wait())
	for _, path := range []string{filepath.Join("/proc", pid, "exe"), data, socketFolder(connString)} {
		require.Eventually(t, func() bool {
			_, err := os.Readlink(path)
			return os.IsNotExist(err)
		}, 20*time.Second, 20*time.Millisecond, "%s is still there", path)
	}
}

func waitToBeKilled(t *testing.T) {
	fmt.Println(New(t))
	select {}
}

func BenchmarkNew(b *testing.B) {
	for b.Loop() {
		New(b)
	}
}
