package store

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// ServingRole is the role as which a server works in its private database.
const ServingRole = "saggar_serving"

// rights of a role that serves: everything but to alter or remove what the trace holds, or the schema.
var rights = []string{
	"GRANT USAGE ON SCHEMA public TO %[1]s",
	"GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO %[1]s",
	"GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO %[1]s",
	"REVOKE UPDATE, DELETE, TRUNCATE, REFERENCES, TRIGGER ON changes FROM %[1]s",
	"REVOKE INSERT, UPDATE, DELETE, TRUNCATE ON schema_version FROM %[1]s",
}

// MakeServingRole makes ServingRole with a password, or gives it another one, and grants it what a server needs. owner is a
// connection string of the schema's owner, who may make roles.
func MakeServingRole(ctx context.Context, owner, password string) error {
	return asOwner(ctx, owner, func(ctx context.Context, tx pgx.Tx) error {
		role, secret := pgx.Identifier{ServingRole}.Sanitize(), quote(password)
		_, err := tx.Exec(ctx, fmt.Sprintf("CREATE ROLE %s LOGIN PASSWORD %s", role, secret))
		if isDuplicateRole(err) {
			return errRoleStands
		}
		return err
	}, func(ctx context.Context, tx pgx.Tx) error {
		role, secret := pgx.Identifier{ServingRole}.Sanitize(), quote(password)
		if _, err := tx.Exec(ctx, fmt.Sprintf("ALTER ROLE %s LOGIN PASSWORD %s", role, secret)); err != nil {
			return err
		}
		return grant(ctx, tx, ServingRole)
	})
}

// GrantServing grants the role of one connection string what a server needs, as the schema's owner.
func GrantServing(ctx context.Context, owner, serving string) error {
	conn, err := pgx.Connect(ctx, serving)
	if err != nil {
		return fmt.Errorf("look at the role that serves: %w", err)
	}
	var role string
	err = conn.QueryRow(ctx, "SELECT current_user").Scan(&role)
	if err := errors.Join(err, conn.Close(context.WithoutCancel(ctx))); err != nil {
		return fmt.Errorf("look at the role that serves: %w", err)
	}
	return asOwner(ctx, owner, func(ctx context.Context, tx pgx.Tx) error { return grant(ctx, tx, role) })
}

var errRoleStands = errors.New("the role stands already")

// asOwner runs steps, each in a transaction of its own; the role may have been made by somebody else meanwhile.
func asOwner(ctx context.Context, owner string, steps ...func(ctx context.Context, tx pgx.Tx) error) (err error) {
	conn, err := pgx.Connect(ctx, owner)
	if err != nil {
		return fmt.Errorf("make the role that serves: %w", err)
	}
	defer func() { err = errors.Join(err, conn.Close(context.WithoutCancel(ctx))) }()
	for _, step := range steps {
		err := pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error { return step(ctx, tx) })
		if err != nil && !errors.Is(err, errRoleStands) {
			return fmt.Errorf("make the role that serves: %w", err)
		}
	}
	return nil
}

func grant(ctx context.Context, tx pgx.Tx, role string) error {
	for _, statement := range rights {
		if _, err := tx.Exec(ctx, fmt.Sprintf(statement, pgx.Identifier{role}.Sanitize())); err != nil {
			return err
		}
	}
	return nil
}

func isDuplicateRole(err error) bool {
	const codeDuplicateObject = "42710"
	pgErr, ok := errors.AsType[*pgconn.PgError](err)
	return ok && (pgErr.Code == codeDuplicateObject || pgErr.Code == codeUnique)
}

// quote writes a text as a literal of SQL, for the statements that take no parameters. Passwords that are made have no
// quotes in them; doubling them is right for any text while strings conform to the standard, which is PostgreSQL's default.
func quote(text string) string {
	quoted := "'"
	for _, r := range text {
		if r == '\'' {
			quoted += "'"
		}
		quoted += string(r)
	}
	return quoted + "'"
}

// MayAlterTrace reports whether the role that serves could alter or remove entries of the trace.
func (s *Store) MayAlterTrace(ctx context.Context) (may bool, err error) {
	err = s.pool.QueryRow(ctx, "SELECT has_table_privilege('changes', 'UPDATE, DELETE, TRUNCATE')").Scan(&may)
	return may, translate(ctx, err)
}
