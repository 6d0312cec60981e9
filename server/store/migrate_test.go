package store

import (
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"testing/fstest"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/tern/v2/migrate"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"

	"saggar/migrations"
	"saggar/server/cluster"
)

// steps makes a schema's steps of the given texts.
func steps(texts ...string) fs.FS {
	names := []string{"0001_create_studios.sql", "0002_add_notes.sql", "0003_add_rooms.sql"}
	fsys := fstest.MapFS{}
	for i, text := range texts {
		fsys[names[i]] = &fstest.MapFile{Data: []byte(text)}
	}
	return fsys
}

const (
	createStudios = "CREATE TABLE studios (id bigint PRIMARY KEY);"
	addNotes      = "ALTER TABLE studios ADD COLUMN notes text; SELECT pg_sleep(0.1);"
	addRooms      = "CREATE TABLE rooms (studio_id bigint REFERENCES studios);"
)

// empty is the connection string of an empty database, on a cluster of its own: pgtest would have migrated it.
func empty(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "migrate-test-")
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(dir)) })
	require.NoError(t, os.Chmod(dir, 0o711))
	c, err := cluster.Start(t.Context(), cluster.Options{DataDir: filepath.Join(dir, "postgres"), FastAndUnsafe: true})
	require.NoError(t, err)
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
		defer cancel()
		require.NoError(t, c.Stop(ctx))
	})
	return c.ConnString()
}

func connect(t *testing.T, connString string) *pgx.Conn {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), connString)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, conn.Close(context.Background())) })
	return conn
}

func version(t *testing.T, conn *pgx.Conn) (version int) {
	t.Helper()
	require.NoError(t, conn.QueryRow(t.Context(), "SELECT version FROM "+versionTable).Scan(&version))
	return version
}

func TestServersThatStartAtOnceMigrateOnce(t *testing.T) {
	t.Parallel()
	connString := empty(t)
	var servers errgroup.Group
	for range 8 {
		servers.Go(func() error { return migrateWith(t.Context(), connString, steps(createStudios, addNotes, addRooms)) })
	}
	require.NoError(t, servers.Wait())
	conn := connect(t, connString)
	assert.Equal(t, 3, version(t, conn))
	_, err := conn.Exec(t.Context(), "SELECT notes, studio_id FROM studios JOIN rooms ON studio_id = id")
	assert.NoError(t, err)
}

func TestAFailedStepLeavesNothingAndIsNamed(t *testing.T) {
	t.Parallel()
	connString := empty(t)
	err := migrateWith(t.Context(), connString, steps(createStudios, "CREATE TABLE halls (id bigint); SELECT 1/0;"))
	require.ErrorContains(t, err, "0002_add_notes.sql")
	require.ErrorContains(t, err, "division by zero")

	conn := connect(t, connString)
	assert.Equal(t, 1, version(t, conn), "the step before stays")
	var halls *string
	require.NoError(t, conn.QueryRow(t.Context(), "SELECT to_regclass('halls')::text").Scan(&halls))
	assert.Nil(t, halls, "the failed step's table is rolled back")

	require.NoError(t, migrateWith(t.Context(), connString, steps(createStudios, addNotes)), "mended, it goes on from there")
	assert.Equal(t, 2, version(t, conn))
}

func TestANewerSchemaIsRefusedAndNotTouched(t *testing.T) {
	t.Parallel()
	connString := empty(t)
	require.NoError(t, migrateWith(t.Context(), connString, steps(createStudios, addNotes)))

	err := migrateWith(t.Context(), connString, steps(createStudios))
	require.ErrorIs(t, err, ErrSchemaNewer)
	require.ErrorContains(t, err, "at version 2, this server knows 1")
	assert.Equal(t, 2, version(t, connect(t, connString)))
}

func TestTheServersOwnStepsRunOnAnEmptyDatabaseAndAgain(t *testing.T) {
	t.Parallel()
	connString := empty(t)
	require.NoError(t, Migrate(t.Context(), connString))
	before := version(t, connect(t, connString))
	require.Positive(t, before)
	require.NoError(t, Migrate(t.Context(), connString))
	require.Equal(t, before, version(t, connect(t, connString)))
}

func TestEachOwnStepCanBeUndoneAndDoneAgain(t *testing.T) {
	t.Parallel()
	connString := empty(t)
	require.NoError(t, Migrate(t.Context(), connString))
	conn := connect(t, connString)
	done := relations(t, conn)

	migrator, err := migrate.NewMigrator(t.Context(), conn, versionTable)
	require.NoError(t, err)
	require.NoError(t, migrator.LoadMigrations(migrations.Files()))
	require.NoError(t, migrator.MigrateTo(t.Context(), 0))
	assert.Equal(t, []string{"schema_version"}, relations(t, conn), "the way down leaves nothing behind")

	require.NoError(t, Migrate(t.Context(), connString))
	assert.Equal(t, done, relations(t, conn))
}

// relations lists the tables, indexes and sequences by name.
func relations(t *testing.T, conn *pgx.Conn) []string {
	t.Helper()
	rows, err := conn.Query(t.Context(),
		"SELECT relname::text FROM pg_class WHERE relnamespace = 'public'::regnamespace ORDER BY relname")
	require.NoError(t, err)
	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(t, err)
	return names
}

func TestAnUnreachableDatabaseIsAnError(t *testing.T) {
	err := Migrate(t.Context(), "postgres://ada@/studio?host="+t.TempDir())
	require.ErrorContains(t, err, "migrate: ")
}
