package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/domain"
)

func TestTranslate(t *testing.T) {
	t.Parallel()
	code := func(code string) error { return fmt.Errorf("read: %w", &pgconn.PgError{Code: code}) }
	for name, c := range map[string]struct {
		err  error
		want error // nil: as it is
	}{
		"no rows":           {pgx.ErrNoRows, domain.ErrNotFound},
		"vessel taken":      {&pgconn.PgError{Code: "23P01", ConstraintName: "equipment_holds_exclusive"}, domain.ErrHeld},
		"furnace taken":     {&pgconn.PgError{Code: "23P01", ConstraintName: "occupancies_exclusive"}, domain.ErrFurnaceTaken},
		"other exclusion":   {&pgconn.PgError{Code: "23P01", ConstraintName: "other"}, nil},
		"id taken":          {&pgconn.PgError{Code: "23505", ConstraintName: "runs_id_unique"}, domain.ErrAlreadyExists},
		"revision taken":    {&pgconn.PgError{Code: "23505", ConstraintName: "changes_pkey"}, domain.ErrChangedMeanwhile},
		"refers to nothing": {code("23503"), domain.ErrNotFound},
		"unknown furnace":   {&pgconn.PgError{Code: "23502", TableName: "firings", ColumnName: "furnace_key"}, domain.ErrNotFound},
		"another null":      {&pgconn.PgError{Code: "23502", TableName: "firings", ColumnName: "title"}, nil},
		"check":             {code("23514"), nil},
		"syntax":            {code("42601"), nil},
		"serialization":     {code("40001"), domain.ErrChangedMeanwhile},
		"deadlock":          {code("40P01"), domain.ErrChangedMeanwhile},
		"lock timeout":      {code("55P03"), domain.ErrUnavailable},
		"cancelled there":   {code("57014"), domain.ErrUnavailable},
		"connection":        {code("08006"), domain.ErrUnavailable},
		"too many":          {code("53300"), domain.ErrUnavailable},
		"shutting down":     {code("57P01"), domain.ErrUnavailable},
		"starting up":       {code("57P03"), domain.ErrUnavailable},
		"disk":              {code("58030"), domain.ErrUnavailable},
		"standby":           {code("25006"), domain.ErrUnavailable},
		"cut off":           {io.ErrUnexpectedEOF, domain.ErrUnavailable},
		"network":           {&net.OpError{Op: "write", Err: errors.New("broken pipe")}, domain.ErrUnavailable},
		"closed":            {net.ErrClosed, domain.ErrUnavailable},
		"something else":    {errors.New("cannot scan"), nil},
	} {
		got := translate(t.Context(), c.err)
		require.ErrorIs(t, got, c.err, "%s: the cause is kept", name)
		if c.want == nil {
			assert.Equal(t, c.err, got, name)
			continue
		}
		assert.ErrorIs(t, got, c.want, name)
	}
	assert.NoError(t, translate(t.Context(), nil))
}

func TestTheContextsErrorsPassThrough(t *testing.T) {
	t.Parallel()
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	for _, err := range []error{io.ErrUnexpectedEOF, &pgconn.PgError{Code: "57014"}, &net.OpError{Op: "read", Err: net.ErrClosed}} {
		got := translate(ended, err)
		assert.ErrorIs(t, got, context.Canceled)
		assert.NotErrorIs(t, got, domain.ErrUnavailable)
	}
	assert.ErrorIs(t, translate(ended, &pgconn.PgError{Code: "23505"}), domain.ErrAlreadyExists, "PostgreSQL's answer came first")
}

func TestACommitWithoutAnswer(t *testing.T) {
	t.Parallel()
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	for _, err := range []error{io.ErrUnexpectedEOF, errors.New("anything"), &pgconn.PgError{Code: "57P01"}} {
		assert.ErrorIs(t, translateCommit(ended, err), domain.ErrUnavailable)
	}
	assert.ErrorIs(t, translateCommit(t.Context(), &pgconn.PgError{Code: "40001"}), domain.ErrChangedMeanwhile)
	assert.NotErrorIs(t, translateCommit(t.Context(), pgx.ErrTxCommitRollback), domain.ErrUnavailable, "known not to be done")
}
