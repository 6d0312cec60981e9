// Package pgtest gives each test a migrated PostgreSQL database of its own. It needs nothing but an installed
// PostgreSQL: no environment, no running server, root or not. Without one the test fails and says what to install.
//
// Each test binary starts one cluster, on a RAM disk where there is one, at the first call of New. Databases are copied
// from a migrated template, which takes milliseconds. When the test binary ends, however it ends, PostgreSQL gets its
// parent-death signal and a shell that waits for the end removes the files.
//
// Tests in package store cannot import pgtest, which imports store: they live in package store_test.
package pgtest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"saggar/migrations"
	"saggar/server/cluster"
	"saggar/server/store"
)

// patience bounds each step on the database; it is generous because test packages run side by side.
const patience = 2 * time.Minute

// New returns the connection string of a fresh, migrated database that is dropped when the test ends. Its cluster is
// fast and unsafe: a test that kills anything or measures anything takes Durable. Safe for parallel tests.
func New(t testing.TB) string {
	t.Helper()
	s, err := sharedCluster()
	if err != nil {
		t.Fatalf("a database for the test: %v", err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	name := fmt.Sprintf("test_%d", s.databases.Add(1))
	// The copy is of files: on a RAM disk that is ten times faster than through the log.
	if err := execute(ctx, s.admin, fmt.Sprintf("CREATE DATABASE %s TEMPLATE %s STRATEGY file_copy", name, s.template)); err != nil {
		t.Fatalf("a database for the test: %v", err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		if err := execute(ctx, s.admin, fmt.Sprintf("DROP DATABASE %s WITH (FORCE)", name)); err != nil {
			t.Errorf("drop the test's database: %v", err)
		}
	})
	return inDatabase(s.admin, name)
}

// Durable returns a migrated cluster of the test's own, on disk and with fsync on, for crash tests and benchmarks. The
// test may kill its PID; it is stopped and removed when the test ends.
func Durable(t testing.TB) *cluster.Cluster {
	t.Helper()
	// /var/tmp is on disk by the file system hierarchy standard, which /tmp need not be.
	dir, err := makeDir("/var/tmp")
	if err != nil {
		t.Fatalf("a folder for the test's cluster: %v", err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Errorf("remove the test's cluster: %v", err)
		}
	})
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	c, err := cluster.Start(ctx, cluster.Options{DataDir: filepath.Join(dir, "postgres")})
	if err != nil {
		t.Fatalf("a cluster for the test: %v", err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		if err := c.Stop(ctx); err != nil {
			t.Errorf("stop the test's cluster: %v", err)
		}
	})
	if err := removeAtEnd(dir, socketFolder(c.ConnString())); err != nil {
		t.Fatalf("the test's cluster: %v", err)
	}
	if err := store.Migrate(ctx, c.ConnString()); err != nil {
		t.Fatalf("migrate the test's cluster: %v", err)
	}
	return c
}

// shared is the test binary's cluster with its migrated template.
type shared struct {
	admin     string // connection string of the database that is no template
	template  string
	databases atomic.Int64
}

// sharedCluster starts at the first call and gives every later one the same answer.
var sharedCluster = sync.OnceValues(startShared)

func startShared() (*shared, error) {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	dir, err := makeDir("/dev/shm")
	if err != nil {
		if dir, err = makeDir(os.TempDir()); err != nil {
			return nil, err
		}
	}
	c, err := cluster.Start(ctx, cluster.Options{DataDir: filepath.Join(dir, "postgres"), FastAndUnsafe: true})
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	if err := removeAtEnd(dir, socketFolder(c.ConnString())); err != nil {
		return nil, err
	}
	hash, err := migrations.Hash()
	if err != nil {
		return nil, err
	}
	s := &shared{admin: c.ConnString(), template: "template_" + hash[:16]}
	if err := execute(ctx, s.admin, "CREATE DATABASE "+s.template); err != nil {
		return nil, err
	}
	if err := store.Migrate(ctx, inDatabase(s.admin, s.template)); err != nil {
		return nil, err
	}
	// Nobody may connect from here on: a session in the template would make copies of it fail.
	return s, execute(ctx, s.admin, fmt.Sprintf("ALTER DATABASE %s ALLOW_CONNECTIONS false", s.template))
}

// makeDir makes a folder that user postgres can pass, as it must when the tests run as root.
func makeDir(parent string) (string, error) {
	dir, err := os.MkdirTemp(parent, "saggar-test-")
	if err != nil {
		return "", err
	}
	return dir, os.Chmod(dir, 0o711)
}

// removeAtEnd leaves a shell that outlives this process by a moment: its standard input ends when we do, and it removes
// the folders, again and again until PostgreSQL writes to them no more.
func removeAtEnd(folders ...string) error {
	const script = `
read -r _
for _ in 1 2 3 4 5 6 7 8 9 10; do
	rm -rf "$@" 2>/dev/null
	sleep 0.2
done`
	cmd := exec.Command("/bin/sh", append([]string{"-c", script, "sh"}, folders...)...)
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	input, err := cmd.StdinPipe()
	if err != nil {
		return err
	}
	keepOpen.Lock()
	defer keepOpen.Unlock()
	keepOpen.inputs = append(keepOpen.inputs, input)
	return cmd.Start()
}

// keepOpen holds what must stay open until the process ends; otherwise the garbage collector would close it.
var keepOpen struct {
	sync.Mutex
	inputs []io.Closer
}

func execute(ctx context.Context, connString, sql string) error {
	conn, err := pgx.Connect(ctx, connString)
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	if _, err := conn.Exec(ctx, sql); err != nil {
		return fmt.Errorf("%s: %w", sql, err)
	}
	return nil
}

// socketFolder is where the connection string says that the socket is.
func socketFolder(connString string) string { return mustParse(connString).Query().Get("host") }

// inDatabase is the connection string with another database's name.
func inDatabase(connString, name string) string {
	u := mustParse(connString)
	u.Path = "/" + name
	return u.String()
}

func mustParse(connString string) *url.URL {
	u, err := url.Parse(connString)
	if err != nil {
		panic("bug: the cluster's connection string is no URL")
	}
	return u
}
