package store

import (
	"context"
	"math"
	"time"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// LotsQuery says which lots are wanted.
type LotsQuery struct {
	Department, Material, FromRun string // ids; empty: any
	// LowStock leaves out those of which enough is free, ShowEmpty adds those that are used up.
	LowStock, ShowEmpty bool
	After               string // id after which to go on
	Limit               int    // 0: all
}

// Lot returns one, or domain.ErrNotFound.
func (t *Tx) Lot(ctx context.Context, studioKey int64, id string) (domain.Lot, error) {
	row, err := t.q.GetLot(ctx, queries.GetLotParams{StudioKey: studioKey, LotID: id})
	if err != nil {
		return domain.Lot{}, named(err, "lots", id)
	}
	return toLot(row)
}

// Lots returns those of the given ids that stand, by id.
func (t *Tx) Lots(ctx context.Context, studioKey int64, ids []string) (map[string]domain.Lot, error) {
	rows, err := t.q.GetLots(ctx, queries.GetLotsParams{StudioKey: studioKey, LotIds: ids})
	if err != nil {
		return nil, err
	}
	lots := make(map[string]domain.Lot, len(rows))
	for _, row := range rows {
		if lots[row.LotID], err = toLot(queries.GetLotRow(row)); err != nil {
			return nil, err
		}
	}
	return lots, nil
}

// ListLots returns lots by id.
func (t *Tx) ListLots(ctx context.Context, studioKey int64, q LotsQuery) ([]domain.Lot, error) {
	rows, err := t.q.ListLots(ctx, queries.ListLotsParams{
		StudioKey: studioKey, Department: q.Department, MaterialID: q.Material, FromRun: q.FromRun, LowStock: q.LowStock,
		ShowEmpty: q.ShowEmpty, AfterID: q.After, MaxRows: int64(q.Limit),
	})
	if err != nil {
		return nil, err
	}
	return decodeAll(rows, func(row queries.ListLotsRow) (domain.Lot, error) { return toLot(queries.GetLotRow(row)) })
}

// InsertLot puts a lot down that holds nothing yet; a move gives it its mass. Errors: domain.ErrAlreadyExists.
func (t *Tx) InsertLot(ctx context.Context, studioKey int64, l domain.Lot) error {
	body, err := lotBody(l)
	if err != nil {
		return err
	}
	return taken(t.q.InsertLot(ctx, queries.InsertLotParams{
		StudioKey: studioKey, LotID: l.ID, Department: l.Department, MaterialID: l.Material, FromRun: l.FromRun, Body: body,
		LowStockMicrograms: int64(domain.MicrogramsOf(l.LowStockGrams)), Revision: l.Revision, CreateTime: l.CreateTime,
	}), "lots", l.ID)
}

// DescribeLot changes what is said of a lot; its mass stays. Errors: domain.ErrNotFound.
func (t *Tx) DescribeLot(ctx context.Context, studioKey int64, l domain.Lot) error {
	body, err := lotBody(l)
	if err != nil {
		return err
	}
	count, err := t.q.DescribeLot(ctx, queries.DescribeLotParams{
		StudioKey: studioKey, LotID: l.ID, Department: l.Department, Body: body, Revision: l.Revision,
		LowStockMicrograms: int64(domain.MicrogramsOf(l.LowStockGrams)),
	})
	if err == nil && count == 0 {
		return domain.NotFound("lots/" + l.ID)
	}
	return err
}

// MoveLots changes the masses of lots, with an entry in the history of each. change says when and by whom.
// Errors: domain.ErrLotDrawn when one does not hold that, or is not as it was looked at.
func (t *Tx) MoveLots(ctx context.Context, studioKey int64, change domain.Change, moves ...domain.LotMove) error {
	moved := lotMoves{studioKey, moves, change}
	masses := moved.masses()
	count, err := t.q.MoveLotMasses(ctx, masses)
	if err != nil {
		return err
	}
	if int(count) != len(masses.LotIds) {
		return domain.ErrLotDrawn
	}
	return t.q.InsertLotEntries(ctx, moved.entries())
}

// SetRunDraws changes what a run takes of lots, with its revision. Errors: domain.ErrNotFound.
func (t *Tx) SetRunDraws(ctx context.Context, studioKey int64, r domain.Run) error {
	draws, err := encodeDraws(r)
	if err != nil {
		return err
	}
	count, err := t.q.SetRunDraws(ctx, queries.SetRunDrawsParams{StudioKey: studioKey, RunID: r.ID, Draws: draws, Revision: r.Revision})
	if err == nil && count == 0 {
		return domain.NotFound("runs/" + r.ID)
	}
	return err
}

// lotMoves are changes of lots' masses, with the entry of the log that they belong to.
type lotMoves struct {
	studioKey int64
	moves     []domain.LotMove
	change    domain.Change
}

// moveLots puts changes of lots into a booking.
func moveLots(ctx context.Context, q *queries.Queries, record *recorder, moved lotMoves) error {
	if len(moved.moves) == 0 {
		return nil
	}
	masses := moved.masses()
	if _, err := q.MoveLotMasses(ctx, masses); err != nil {
		return err
	}
	record.expectOr(len(masses.LotIds), domain.ErrLotDrawn)
	return q.InsertLotEntries(ctx, moved.entries())
}

// masses sums the moves by lot, since one statement changes a row once.
func (m lotMoves) masses() queries.MoveLotMassesParams {
	arg, place := queries.MoveLotMassesParams{StudioKey: m.studioKey}, map[string]int{}
	for _, move := range m.moves {
		at, known := place[move.LotID]
		if !known {
			at = len(arg.LotIds)
			place[move.LotID] = at
			arg.LotIds = append(arg.LotIds, move.LotID)
			arg.MassChanges, arg.ReservedChanges = append(arg.MassChanges, 0), append(arg.ReservedChanges, 0)
			arg.DescribedRevisions, arg.Revisions = append(arg.DescribedRevisions, 0), append(arg.Revisions, 0)
		}
		arg.MassChanges[at] += int64(move.MassChange)
		arg.ReservedChanges[at] += int64(move.ReservedChange)
		arg.DescribedRevisions[at] = max(arg.DescribedRevisions[at], move.DescribedRevision)
		arg.Revisions[at] = max(arg.Revisions[at], move.Revision)
	}
	return arg
}

func (m lotMoves) entries() queries.InsertLotEntriesParams {
	arg := queries.InsertLotEntriesParams{StudioKey: m.studioKey, EntryTime: m.change.Time, CallerID: m.change.Caller}
	for _, move := range m.moves {
		arg.LotIds = append(arg.LotIds, move.LotID)
		arg.Kinds = append(arg.Kinds, string(move.Kind))
		arg.MassChanges = append(arg.MassChanges, int64(move.MassChange))
		arg.ReservedChanges = append(arg.ReservedChanges, int64(move.ReservedChange))
		arg.Revisions = append(arg.Revisions, move.Revision)
		arg.RunIds = append(arg.RunIds, move.RunID)
		arg.Reasons = append(arg.Reasons, move.Reason)
	}
	return arg
}

// LotEntriesQuery says which entries of lots' histories are wanted.
type LotEntriesQuery struct {
	Lot string // id; empty: of all lots
	// BeforeRevision and BeforeKey are those of the last entry of the page before; zero: from the newest.
	BeforeRevision, BeforeKey int64
	Limit                     int // 0: all
}

// ListLotEntries returns entries, newest first.
func (t *Tx) ListLotEntries(ctx context.Context, studioKey int64, q LotEntriesQuery) ([]domain.LotEntry, error) {
	if q.BeforeRevision == 0 {
		q.BeforeRevision = math.MaxInt64
	}
	rows, err := t.q.ListLotEntries(ctx, queries.ListLotEntriesParams{
		StudioKey: studioKey, LotID: q.Lot, BeforeRevision: q.BeforeRevision, BeforeKey: q.BeforeKey, MaxRows: int64(q.Limit),
	})
	return collect(rows, func(row queries.ListLotEntriesRow) domain.LotEntry {
		return domain.LotEntry{
			LotMove: domain.LotMove{
				LotID: row.LotID, Kind: domain.LotEntryKind(row.Kind), MassChange: domain.Micrograms(row.MassChange),
				ReservedChange: domain.Micrograms(row.ReservedChange), Revision: row.Revision, RunID: row.RunID, Reason: row.Reason,
			},
			LotKey: row.LotKey, Time: row.EntryTime, Caller: row.CallerID, OnHand: domain.Micrograms(row.MassMicrograms),
			Reserved: domain.Micrograms(row.ReservedMicrograms),
		}
	}), err
}

// LotTaken is how much was taken out of a lot and has not come back.
func (t *Tx) LotTaken(ctx context.Context, studioKey int64, id string) (domain.Micrograms, error) {
	taken, err := t.q.LotTaken(ctx, queries.LotTakenParams{StudioKey: studioKey, LotID: id})
	return domain.Micrograms(taken), err
}

// LotsMade is what the lots weighed that one load made, when they were put down.
func (t *Tx) LotsMade(ctx context.Context, studioKey int64, runID, stage string) (domain.Micrograms, error) {
	made, err := t.q.LotsMade(ctx, queries.LotsMadeParams{StudioKey: studioKey, FromRun: runID, FromStage: stage})
	return domain.Micrograms(made), err
}

// RunsReserving are the runs that have reserved of a lot, by id.
func (t *Tx) RunsReserving(ctx context.Context, studioKey int64, lotID string) ([]domain.LotHolder, error) {
	rows, err := t.q.RunsReserving(ctx, queries.RunsReservingParams{StudioKey: studioKey, LotID: lotID})
	return collect(rows, func(row queries.RunsReservingRow) domain.LotHolder {
		return domain.LotHolder{Run: row.RunID, Maker: row.Maker}
	}), err
}

// lotBody is what is said of a lot. Its mass stands apart.
func lotBody(l domain.Lot) ([]byte, error) {
	l.MassGrams = 0
	return encode("lot "+l.ID, l)
}

func toLot(row queries.GetLotRow) (domain.Lot, error) {
	lot, err := decode[domain.Lot]("lot "+row.LotID, row.Body)
	lot.OnHand, lot.Reserved = domain.Micrograms(row.MassMicrograms), domain.Micrograms(row.ReservedMicrograms)
	lot.MassGrams = lot.OnHand.Grams()
	lot.DescribedRevision, lot.Revision, lot.CreateTime = row.DescribedRevision, row.Revision, row.CreateTime.In(time.UTC)
	return lot, err
}
