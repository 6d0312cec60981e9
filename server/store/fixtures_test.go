package store_test

import (
	"context"
	"crypto/sha256"
	"fmt"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/pgtest"
	"saggar/server/store"
)

// monday is when the tests' week begins.
var monday = time.Date(2031, time.March, 3, 0, 0, 0, 0, time.UTC)

// at is an hour of the tests' week.
func at(hour float64) time.Time { return monday.Add(time.Duration(hour * float64(time.Hour))) }

func window(from, to float64) domain.Window { return domain.Window{Start: at(from), End: at(to)} }

// bench is a database with one studio that has two furnaces, a room and a recipe.
type bench struct {
	*store.Store
	t          testing.TB
	connString string
	studio     domain.Studio
}

func newBench(t testing.TB) *bench {
	t.Helper()
	b := &bench{t: t, connString: pgtest.New(t)}
	b.Store = open(t, b.connString)
	b.studio = b.addStudio("kiln-yard")
	return b
}

func open(t testing.TB, connString string) *store.Store {
	t.Helper()
	s, err := store.Open(t.Context(), connString, store.Options{})
	require.NoError(t, err)
	t.Cleanup(s.Close)
	return s
}

// do runs fn in a transaction that must succeed.
func (b *bench) do(fn func(ctx context.Context, tx *store.Tx) error) {
	b.t.Helper()
	require.NoError(b.t, b.InTx(b.t.Context(), fn))
}

// conn is a connection beside the store, for what the store would never do.
func (b *bench) conn() *pgx.Conn {
	b.t.Helper()
	conn, err := pgx.Connect(b.t.Context(), b.connString)
	require.NoError(b.t, err)
	b.t.Cleanup(func() { require.NoError(b.t, conn.Close(context.Background())) })
	return conn
}

func (b *bench) count(table string) (count int) {
	b.t.Helper()
	require.NoError(b.t, b.conn().QueryRow(b.t.Context(), "SELECT count(*) FROM "+table).Scan(&count))
	return count
}

func (b *bench) addStudio(id string) (studio domain.Studio) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx *store.Tx) (err error) {
		studio, err = tx.InsertStudio(ctx, domain.Studio{
			ID: id, Title: "The " + id, TimeZone: "Europe/Lisbon", StepMinutes: 5, ChargeMinutes: 20, DrawMinutes: 15,
			AcidMistFraction: 0.03, Revision: 1, EquipmentRevision: 1, OwnRevision: 1, CreateTime: monday,
		})
		if err != nil {
			return err
		}
		for _, furnace := range []string{"muffle", "top-loader"} {
			e := domain.Equipment{Kind: domain.KindFurnace, ID: furnace, Revision: 1, Furnace: &heat.Furnace{ID: furnace}}
			if _, err := tx.PutEquipment(ctx, studio.Key, e); err != nil {
				return err
			}
		}
		return tx.InsertRecipe(ctx, studio.Key, chem.Recipe{ID: "blue", Version: 1}, monday)
	})
	return studio
}

// firing is a planned firing, still without a key.
func firing(furnace string, w domain.Window) *domain.Firing {
	open := w.Start.Add(20 * time.Minute)
	return &domain.Firing{
		Furnace: furnace, Title: "Blue, " + furnace, State: domain.LoadConfirmed, Window: w,
		TopCelsius: 810.5, Atmosphere: heat.Reducing,
		Phases: []domain.FiringPhase{
			{Kind: heat.Charge, Window: domain.Window{Start: w.Start, End: open}, Watch: heat.InRoom, PeopleCount: 2},
			{Kind: heat.Fire, Window: domain.Window{Start: open, End: w.End}, Watch: heat.InReach, PeopleCount: 1, Kilowatts: 7.25},
		},
		Releases: []air.Release{
			{Species: "SO2", StartMinute: 0, EndMinute: 60.5, GramsPerMinute: 0.125},
			{Species: "CO", StartMinute: 30, EndMinute: 90, GramsPerMinute: 0.01},
		},
	}
}

// run is a planned run of one load for each firing, nil for bench work in the first hour of the week.
func (b *bench) run(id string, firings ...*domain.Firing) domain.Run {
	b.t.Helper()
	runKeys, firingKeys, err := b.NextKeys(b.t.Context(), 1, len(firings))
	require.NoError(b.t, err)
	r := domain.Run{
		Key: runKeys[0], ID: id, Title: "Run " + id, RecipeID: "blue", RecipeVersion: 1, Scale: chem.Scale{Factor: 2.5},
		StartStage: "stage-0", FromLot: "reduced-1", Draws: []domain.LotDraw{
			{Stage: "stage-0", Lot: "reduced-1", Mass: 12, State: domain.DrawReserved},
			{Stage: "stage-1", Material: "kaolin", Lot: "kaolin-3", Mass: 5, State: domain.DrawTaken},
		},
		Department: "glass", Maker: "ada", Acknowledged: []string{"AIR_FLOW_OLD"}, CreateTime: monday,
		Inputs: domain.RunInputs{
			Materials: map[string]int{"kaolin": 3}, Furnaces: map[string]heat.Furnace{"muffle": {ID: "muffle", TopCelsius: 1100}},
		},
	}
	for i, f := range firings {
		load := domain.Load{Stage: fmt.Sprintf("stage-%d", i), State: domain.LoadConfirmed, Window: window(0, 1), Firing: f}
		if f != nil {
			f.Key, f.ID = firingKeys[i], fmt.Sprintf("f%d", firingKeys[i])
			f.RunID, f.Stage, f.Department, f.Maker, f.AttendedBy = r.ID, load.Stage, r.Department, r.Maker, "bob"
			load.Window, load.State = f.Window, f.State
		}
		r.Loads = append(r.Loads, load)
	}
	return r
}

// book locks the studio and writes what is given under its next revision, which it sets everywhere.
func (b *bench) book(booking store.Booking) error {
	b.t.Helper()
	return b.InTx(b.t.Context(), func(ctx context.Context, tx *store.Tx) error {
		studio, err := tx.LockStudio(ctx, b.studio.ID)
		if err != nil {
			return err
		}
		return tx.Book(ctx, revised(studio, booking))
	})
}

func revised(studio domain.Studio, booking store.Booking) store.Booking {
	studio.Revision++
	booking.Studio = studio
	for _, runs := range [][]domain.Run{booking.NewRuns, booking.ChangedRuns} {
		for i := range runs {
			runs[i].Revision = studio.Revision
			for _, f := range runs[i].Firings() {
				f.Revision = studio.Revision
			}
		}
	}
	for i := range booking.EndedFirings {
		booking.EndedFirings[i].Revision = studio.Revision
	}
	booking.Changes = []domain.Change{{
		Revision: studio.Revision, Time: monday, Caller: "ada", Method: "BookRun", Subject: "runs",
	}}
	return booking
}

// mustBook stores a run and returns it as stored.
func (b *bench) mustBook(r domain.Run) domain.Run {
	b.t.Helper()
	require.NoError(b.t, b.book(store.Booking{NewRuns: []domain.Run{r}}))
	return b.stored(r.ID)
}

func (b *bench) stored(id string) (run domain.Run) {
	b.t.Helper()
	require.NoError(b.t, b.InSnapshot(b.t.Context(), func(ctx context.Context, tx *store.Tx) (err error) {
		run, err = tx.Run(ctx, b.studio.Key, id)
		return err
	}))
	return run
}

func (b *bench) firingsOver(q store.FiringsQuery) (firings []domain.Firing) {
	b.t.Helper()
	require.NoError(b.t, b.InSnapshot(b.t.Context(), func(ctx context.Context, tx *store.Tx) (err error) {
		firings, err = tx.FiringsOver(ctx, b.studio.Key, q)
		return err
	}))
	return firings
}

func ids(firings []domain.Firing) []string {
	list := make([]string, len(firings))
	for i, f := range firings {
		list[i] = f.ID
	}
	return list
}

func remembered(requestID string) *domain.Remembered {
	return &domain.Remembered{
		Caller: "ada", RequestID: requestID, Method: "BookRun", BodySHA256: sha256.Sum256([]byte(requestID)),
		Resources: []string{"blue-1", "blue-2"},
	}
}
