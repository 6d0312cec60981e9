package store

import (
	"context"
	"errors"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// translating passes statements on and translates the errors of their answers.
type translating struct{ db queries.DBTX }

func (t translating) Exec(ctx context.Context, sql string, args ...any) (pgconn.CommandTag, error) {
	tag, err := t.db.Exec(ctx, sql, args...)
	return tag, translate(ctx, err)
}

func (t translating) Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error) {
	rows, err := t.db.Query(ctx, sql, args...)
	if err != nil {
		return nil, translate(ctx, err)
	}
	return translatingRows{rows, ctx}, nil
}

func (t translating) QueryRow(ctx context.Context, sql string, args ...any) pgx.Row {
	return translatingRow{t.db.QueryRow(ctx, sql, args...), ctx}
}

type translatingRows struct {
	pgx.Rows
	ctx context.Context
}

func (r translatingRows) Scan(dest ...any) error { return translate(r.ctx, r.Rows.Scan(dest...)) }
func (r translatingRows) Err() error             { return translate(r.ctx, r.Rows.Err()) }

type translatingRow struct {
	row pgx.Row
	ctx context.Context
}

func (r translatingRow) Scan(dest ...any) error { return translate(r.ctx, r.row.Scan(dest...)) }

// Statement is one SQL statement with its arguments.
type Statement struct {
	SQL       string
	Arguments []any
	// Rows is how many rows it must touch; 0: any number. Otherwise is the error when it touches another number.
	Rows      int64
	Otherwise error
}

// recorder keeps the statements that generated code would send, and answers each with nothing.
type recorder struct{ statements []Statement }

func (r *recorder) add(sql string, args []any) {
	r.statements = append(r.statements, Statement{SQL: sql, Arguments: args})
}

// expect sets how many rows the last statement must touch, else domain.ErrChangedMeanwhile.
func (r *recorder) expect(rows int) { r.expectOr(rows, domain.ErrChangedMeanwhile) }

// expectOr does so with another error.
func (r *recorder) expectOr(rows int, otherwise error) {
	last := &r.statements[len(r.statements)-1]
	last.Rows, last.Otherwise = int64(rows), otherwise
}

func (r *recorder) batch() *pgx.Batch {
	batch := &pgx.Batch{}
	for _, s := range r.statements {
		batch.Queue(s.SQL, s.Arguments...)
	}
	return batch
}

func (r *recorder) Exec(_ context.Context, sql string, args ...any) (pgconn.CommandTag, error) {
	r.add(sql, args)
	return pgconn.CommandTag{}, nil
}

func (r *recorder) Query(_ context.Context, sql string, args ...any) (pgx.Rows, error) {
	r.add(sql, args)
	return nothing{}, nil
}

func (r *recorder) QueryRow(_ context.Context, sql string, args ...any) pgx.Row {
	r.add(sql, args)
	return nothing{}
}

// nothing is an answer without rows that leaves what is scanned into as it was. Generated code calls no other methods.
type nothing struct{ pgx.Rows }

func (nothing) Close()            {}
func (nothing) Err() error        { return nil }
func (nothing) Next() bool        { return false }
func (nothing) Scan(...any) error { return nil }

// answers gives the results of a batch to generated code, which must ask in the order of the batch.
type answers struct{ results pgx.BatchResults }

func (a answers) Exec(context.Context, string, ...any) (pgconn.CommandTag, error) {
	return a.results.Exec()
}

func (a answers) Query(context.Context, string, ...any) (pgx.Rows, error) { return a.results.Query() }

func (a answers) QueryRow(context.Context, string, ...any) pgx.Row { return a.results.QueryRow() }

// sender is a transaction or a pool.
type sender interface {
	SendBatch(ctx context.Context, batch *pgx.Batch) pgx.BatchResults
}

// inOneTrip lets ask put several questions in one round trip. It calls ask twice: first to learn the statements, each
// answered with nothing, then with their answers. So ask must send the same statements whatever it reads.
func inOneTrip(ctx context.Context, db sender, ask func(q *queries.Queries) error) error {
	asked := &recorder{}
	if err := ask(queries.New(asked)); err != nil {
		return err
	}
	if len(asked.statements) == 0 {
		return nil
	}
	results := db.SendBatch(ctx, asked.batch())
	err := ask(queries.New(translating{answers{results}}))
	return errors.Join(err, translateClose(ctx, results.Close(), err))
}

// translateClose leaves out what closing repeats of an error that was returned before.
func translateClose(ctx context.Context, closing, before error) error {
	if before != nil {
		return nil
	}
	return translate(ctx, closing)
}
