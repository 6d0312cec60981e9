package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"saggar/server/domain"
)

// PostgreSQL's codes that are looked at, see appendix A of its manual.
const (
	codeNotNull       = "23502"
	codeForeignKey    = "23503"
	codeUnique        = "23505"
	codeCheck         = "23514"
	codeExclusion     = "23P01"
	codeReadOnly      = "25006" // connected to a standby
	codeSerialization = "40001"
	codeDeadlock      = "40P01"
	codeLockTimeout   = "55P03"
	codeCanceled      = "57014"
)

// unavailableClasses begin the codes that say the database cannot serve now: connection exceptions, insufficient
// resources, operator intervention (shutting down, starting up), system errors.
var unavailableClasses = []string{"08", "53", "57P", "58"}

// translate turns an error of the driver into one of package domain where a caller can act on it, and keeps the cause.
// The context's own errors pass through; every other error is returned as it is and means a bug.
func translate(ctx context.Context, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, pgx.ErrNoRows):
		return fmt.Errorf("%w: %w", domain.ErrNotFound, err)
	}
	_, connecting := errors.AsType[*pgconn.ConnectError](err)
	pgErr, fromPostgres := errors.AsType[*pgconn.PgError](err)
	if fromPostgres && !connecting && (pgErr.Code != codeCanceled || ctx.Err() == nil) {
		if kind := kindOf(pgErr); kind != nil {
			return fmt.Errorf("%w: %w", kind, err)
		}
		return err
	}
	if ctx.Err() != nil {
		return fmt.Errorf("%w: %w", ctx.Err(), err)
	}
	if connecting || lost(err) {
		return fmt.Errorf("%w: %w", domain.ErrUnavailable, err)
	}
	return err
}

// translateCommit is translate for a commit: when no answer came, nobody knows whether it was done.
func translateCommit(ctx context.Context, err error) error {
	_, answered := errors.AsType[*pgconn.PgError](err)
	if answered || errors.Is(err, pgx.ErrTxCommitRollback) {
		return translate(context.WithoutCancel(ctx), err)
	}
	return fmt.Errorf("%w during the commit, which may or may not be done: %w", domain.ErrUnavailable, err)
}

// exclusions are what may be had by one at a time.
var exclusions = map[string]error{"occupancies_exclusive": domain.ErrFurnaceTaken, "equipment_holds_exclusive": domain.ErrHeld}

// kindOf returns the domain's error for what PostgreSQL refused, or nil when only a bug gets there.
func kindOf(err *pgconn.PgError) error {
	switch err.Code {
	case codeExclusion:
		if kind := exclusions[err.ConstraintName]; kind != nil {
			return kind
		}
	case codeUnique:
		// Each revision is written once, under the studio's lock; taken means that somebody else wrote.
		if err.ConstraintName == "changes_pkey" {
			return domain.ErrChangedMeanwhile
		}
		return domain.ErrAlreadyExists
	case codeCheck:
		if err.ConstraintName == "lots_not_overdrawn" {
			return domain.ErrLotDrawn
		}
	case codeForeignKey:
		return domain.ErrNotFound
	case codeNotNull:
		// A firing names its furnace by id, a hold what it holds; the key is null when there is none.
		if err.ColumnName == "furnace_key" || err.ColumnName == "equipment_key" {
			return domain.ErrNotFound
		}
	case codeSerialization, codeDeadlock:
		return domain.ErrChangedMeanwhile
	case codeReadOnly, codeLockTimeout, codeCanceled:
		return domain.ErrUnavailable
	}
	for _, class := range unavailableClasses {
		if strings.HasPrefix(err.Code, class) {
			return domain.ErrUnavailable
		}
	}
	return nil
}

// lost reports whether the connection broke.
func lost(err error) bool {
	_, network := errors.AsType[net.Error](err)
	return network || pgconn.SafeToRetry(err) || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) ||
		errors.Is(err, net.ErrClosed)
}

// gaveWay reports whether PostgreSQL gave the transaction up in favour of another, so that it may simply be repeated.
func gaveWay(err error) bool {
	pgErr, ok := errors.AsType[*pgconn.PgError](err)
	return ok && (pgErr.Code == codeSerialization || pgErr.Code == codeDeadlock)
}

// named says which resource was not found; every other error passes.
func named(err error, collection, id string) error {
	if errors.Is(err, domain.ErrNotFound) {
		return domain.NotFound(collection + "/" + id)
	}
	return err
}

// taken says which resource's id is taken, or that its studio is gone; every other error passes.
func taken(err error, collection, id string) error {
	if errors.Is(err, domain.ErrAlreadyExists) {
		name := collection + "/" + id
		return &domain.Error{
			Kind: domain.ErrAlreadyExists, Subject: name, Message: name + " exists already", Cure: "choose another id, or change that one",
		}
	}
	return err
}

// versionOf is an id with the version asked for, if any.
func versionOf(id string, version int) string {
	if version == 0 {
		return id
	}
	return fmt.Sprintf("%s/versions/%d", id, version)
}
