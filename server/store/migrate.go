package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/tern/v2/migrate"

	"saggar/migrations"
)

// versionTable holds the number of the last step done, in one row.
const versionTable = "public.schema_version"

// ErrSchemaNewer says that the database was migrated by a newer server than this one, which must not touch it.
var ErrSchemaNewer = errors.New("the database's schema is newer than this server")

// Migrate brings the database's schema up to this server's version. Any number of servers may do it at once: one works
// under an advisory lock and the others wait and find it done. A step that fails is rolled back, and those before it
// stay. Errors: ErrSchemaNewer, or the failed step's name with what PostgreSQL said.
func Migrate(ctx context.Context, connString string) error {
	return migrateWith(ctx, connString, migrations.Files())
}

func migrateWith(ctx context.Context, connString string, steps fs.FS) (err error) {
	conn, err := pgx.Connect(ctx, connString)
	if err != nil {
		return fmt.Errorf("migrate: %w", err)
	}
	defer func() { err = errors.Join(err, conn.Close(context.WithoutCancel(ctx))) }()
	migrator, err := migrate.NewMigrator(ctx, conn, versionTable)
	if err != nil {
		return fmt.Errorf("migrate: make %s: %w", versionTable, err)
	}
	if err := migrator.LoadMigrations(steps); err != nil {
		return fmt.Errorf("migrate: read the steps: %w", err)
	}
	// Going down to this server's version is never what a start means; Migrate refuses a version that it does not know,
	// under its lock.
	err = migrator.Migrate(ctx)
	if _, unknown := errors.AsType[migrate.BadVersionError](err); unknown {
		version, versionErr := migrator.GetCurrentVersion(ctx)
		return errors.Join(fmt.Errorf("%w: it is at version %d, this server knows %d; start a newer server",
			ErrSchemaNewer, version, len(migrator.Migrations)), versionErr)
	}
	if err != nil {
		return fmt.Errorf("migrate: %w", err)
	}
	return nil
}
