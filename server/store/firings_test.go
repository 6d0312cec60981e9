package store_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/domain"
	"saggar/server/store"
	"saggar/server/store/queries"
)

func TestFiringsOverAWindow(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	night, day, late := firing("muffle", window(8, 16)), firing("top-loader", window(10, 20)), firing("muffle", window(30, 40))
	b.mustBook(b.run("blue-1", night))
	b.mustBook(b.run("blue-2", day, late))
	missed := firing("top-loader", window(30, 35))
	missed.State = domain.LoadMissed
	b.mustBook(b.run("blue-3", missed))

	for name, c := range map[string]struct {
		query store.FiringsQuery
		want  []*domain.Firing
	}{
		"all":                  {store.FiringsQuery{Window: window(0, 100)}, []*domain.Firing{night, day, late}},
		"ended ones too":       {store.FiringsQuery{Window: window(0, 100), ShowEnded: true}, []*domain.Firing{night, day, late, missed}},
		"touching is not over": {store.FiringsQuery{Window: window(16, 30)}, []*domain.Firing{day}},
		"begun before":         {store.FiringsQuery{Window: window(15, 16)}, []*domain.Firing{night, day}},
		"one furnace":          {store.FiringsQuery{Window: window(0, 100), FurnaceIDs: []string{"muffle", "none"}}, []*domain.Firing{night, late}},
		"since":                {store.FiringsQuery{Window: window(0, 100), SinceRevision: night.Revision}, []*domain.Firing{day, late}},
		"first page":           {store.FiringsQuery{Window: window(0, 100), Limit: 1}, []*domain.Firing{night}},
		"next page": {
			store.FiringsQuery{Window: window(0, 100), Limit: 1, AfterStart: night.Window.Start, AfterKey: night.Key}, []*domain.Firing{day},
		},
		"the same start": {
			store.FiringsQuery{Window: window(0, 100), ShowEnded: true, AfterStart: late.Window.Start, AfterKey: late.Key}, []*domain.Firing{missed},
		},
		"none": {store.FiringsQuery{Window: window(50, 60)}, nil},
	} {
		for _, withReleases := range []bool{false, true} {
			c.query.WithReleases = withReleases
			want := []domain.Firing{}
			for _, f := range c.want {
				want = append(want, *f)
				if !withReleases {
					want[len(want)-1].Releases = nil
				}
			}
			assert.Equal(t, want, b.firingsOver(c.query), "%s, with releases: %t", name, withReleases)
		}
	}
	assert.Equal(t, 3, b.count("occupancies"), "a missed one holds nothing")
}

func TestRunsAreListedNewestFirst(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	var runs []domain.Run
	for i, department := range []string{"glass", "paint", "glass"} {
		hour := float64(10 * i)
		r := b.run(fmt.Sprintf("blue-%d", i), firing("muffle", window(hour, hour+5)), nil)
		r.Department = department
		r.Loads[0].Firing.Department = department
		runs = append(runs, b.mustBook(r))
	}
	for i := range runs {
		runs[i].Loads[0].Firing.Releases = nil
	}
	for name, c := range map[string]struct {
		department string
		before     int64
		limit      int
		want       []domain.Run
	}{
		"all":               {"", 0, 0, []domain.Run{runs[2], runs[1], runs[0]}},
		"first page":        {"", 0, 2, []domain.Run{runs[2], runs[1]}},
		"next page":         {"", runs[1].Key, 2, []domain.Run{runs[0]}},
		"department":        {"glass", 0, 0, []domain.Run{runs[2], runs[0]}},
		"department's page": {"glass", runs[2].Key, 1, []domain.Run{runs[0]}},
		"nobody's":          {"bronze", 0, 0, nil},
	} {
		b.do(func(ctx context.Context, tx *store.Tx) error {
			list, err := tx.ListRuns(ctx, b.studio.Key, c.department, c.before, c.limit)
			assert.Equal(t, c.want, list, name)
			return err
		})
	}
}

func TestWhatIsNotBookedIsNotFound(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.do(func(ctx context.Context, tx *store.Tx) error {
		_, err := tx.Run(ctx, b.studio.Key, "blue-1")
		require.ErrorIs(t, err, domain.ErrNotFound)
		require.ErrorContains(t, err, "run blue-1")
		_, err = tx.Firing(ctx, b.studio.Key, "f1")
		require.ErrorIs(t, err, domain.ErrNotFound)
		require.ErrorContains(t, err, "firing f1")
		return nil
	})
}

func TestKeysAreNeverGivenTwice(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	seenRuns, seenFirings := map[int64]bool{}, map[int64]bool{}
	for range 3 {
		runs, firings, err := b.NextKeys(t.Context(), 2, 3)
		require.NoError(t, err)
		require.Len(t, runs, 2)
		require.Len(t, firings, 3)
		b.do(func(ctx context.Context, tx *store.Tx) error {
			more, none, err := tx.NextKeys(ctx, 1, 0)
			require.Len(t, more, 1)
			require.Empty(t, none)
			runs = append(runs, more...)
			return err
		})
		for _, key := range runs {
			require.False(t, seenRuns[key])
			seenRuns[key] = true
		}
		for _, key := range firings {
			require.False(t, seenFirings[key])
			seenFirings[key] = true
		}
	}
}

// addHistory books n firings of six hours one after the other, back from the tests' week, straight into the tables.
func (b *bench) addHistory(n int) {
	b.t.Helper()
	conn := b.conn()
	for _, sql := range []string{
		`INSERT INTO firings (studio_key, firing_id, furnace_key, title, state, during, top_celsius, atmosphere, revision)
		SELECT s.studio_key, 'h' || i, e.equipment_key, 'History', 'DRAWN',
			tstzrange(timestamptz '2031-03-03 00:00+00' - i * interval '6 hours', timestamptz '2031-03-03 00:00+00' - (i - 1) * interval '6 hours'),
			800, 'neutral', i
		FROM studios s JOIN equipment e USING (studio_key), generate_series(1, $1::integer) AS i
		WHERE s.studio_id = 'kiln-yard' AND e.equipment_id = 'muffle'`,
		`INSERT INTO occupancies (studio_key, firing_key, furnace_key, during)
		SELECT studio_key, firing_key, furnace_key, during FROM firings WHERE revision <= $1::integer`,
		`INSERT INTO firing_phases (studio_key, firing_key, ordinal, kind, start_time, end_time, watch, people_count, kilowatts)
		SELECT studio_key, firing_key, p, 'fire', lower(during), upper(during), 'none', 0, 5
		FROM firings, generate_series(0, 3) AS p WHERE revision <= $1::integer`,
		`INSERT INTO firing_releases (studio_key, firing_key, ordinal, species, start_minute, end_minute, grams_per_minute)
		SELECT studio_key, firing_key, p, 'SO2', p, p + 1, 0.1
		FROM firings, generate_series(0, 3) AS p WHERE revision <= $1::integer`,
		`INSERT INTO runs (studio_key, run_key, run_id, title, recipe_id, recipe_version, department, maker, scale, inputs, acknowledged,
			revision, create_time)
		SELECT studio_key, firing_key, firing_id, 'History', 'blue', 1, 'department ' || revision % 50, 'maker ' || revision % 200, '{}', '{}', '{}', revision, lower(during)
		FROM firings WHERE revision <= $1::integer`,
		`INSERT INTO loads (studio_key, run_key, ordinal, stage_id, state, firing_key, start_time, end_time)
		SELECT studio_key, firing_key, 0, 'stage-0', state, firing_key, lower(during), upper(during)
		FROM firings WHERE revision <= $1::integer`,
		`SELECT setval('runs_run_key_seq', $1::integer)`,
		`UPDATE studios SET revision = $1::integer WHERE studio_id = 'kiln-yard'`,
	} {
		_, err := conn.Exec(b.t.Context(), sql, n)
		require.NoError(b.t, err)
	}
	_, err := conn.Exec(b.t.Context(), "ANALYZE")
	require.NoError(b.t, err)
}

// plan is how PostgreSQL answers a statement, once it has settled on one plan for all arguments or for these.
func (b *bench) plan(mode, sql string, args ...any) string {
	b.t.Helper()
	conn := b.conn()
	_, err := conn.Exec(b.t.Context(), "SET plan_cache_mode = "+mode)
	require.NoError(b.t, err)
	_, err = conn.Prepare(b.t.Context(), "asked", sql)
	require.NoError(b.t, err)
	literals := make([]string, len(args))
	for i, arg := range args {
		switch arg := arg.(type) {
		case time.Time:
			literals[i] = "'" + arg.Format(time.RFC3339) + "'"
		case string:
			literals[i] = "'" + arg + "'"
		default:
			literals[i] = fmt.Sprint(arg)
		}
	}
	rows, err := conn.Query(b.t.Context(), "EXPLAIN (ANALYZE, COSTS OFF, TIMING OFF) EXECUTE asked("+strings.Join(literals, ", ")+")")
	require.NoError(b.t, err)
	var plan strings.Builder
	for rows.Next() {
		var line string
		require.NoError(b.t, rows.Scan(&line))
		plan.WriteString(line + "\n")
	}
	require.NoError(b.t, rows.Err())
	return plan.String()
}

// What a week costs must not grow with the years before it.
func TestALongHistoryDoesNotSlowTheWeek(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	const history = 10_000
	b.addHistory(history)
	r := b.mustBook(b.run("blue-1", firing("top-loader", window(-50, -40))))
	week, day := window(-7*24, 0), window(-60, -36)
	newer := []any{b.studio.ID, history, day.End, day.Start}
	asked := map[string]struct {
		sql, index string
		args       []any
	}{
		"firings over": {queries.FiringsOver, "firings_during",
			[]any{b.studio.Key, week.Start, week.End, false, day.Start, "{}", 0, false, time.Time{}, 0, 0}},
		"phases":       {queries.PhasesOfFirings, "firing_phases_pkey", []any{b.studio.Key, "{1,2,3,4,5,6,7,8,9}"}},
		"releases":     {queries.ReleasesOfFirings, "firing_releases_pkey", []any{b.studio.Key, "{1,2,3,4,5,6,7,8,9}"}},
		"new firings":  {queries.NewFirings, "firings_by_revision", newer},
		"new phases":   {queries.PhasesOfNewFirings, "firings_by_revision", newer},
		"new releases": {queries.ReleasesOfNewFirings, "firings_by_revision", newer},
		"riders":       {queries.RidersOfFirings, "Index Scan using", []any{b.studio.Key, "{1,2,3,4,5,6,7,8,9}", day.Start}},
		"new riders":   {queries.RidersOfNewFirings, "Index Scan using", append(newer, day.Start)},
		"unplaced":     {queries.UnplacedLoads, "loads_unplaced", []any{b.studio.Key}},
		"runs":         {queries.ListRuns, "runs_pkey", []any{b.studio.Key, history, 20}},
		"its runs":     {queries.ListRunsOfDepartment, "runs_by_department", []any{b.studio.Key, "department 7", history, 20}},
		"waiting":      {queries.ListWaitingRuns, "runs_waiting", []any{b.studio.Key, day.Start, 0, 20}},
		"lapsed":       {queries.LapsedRuns, "runs_waiting", []any{b.studio.ID, day.Start}},
		"made":         {queries.HasMade, "runs_by_maker", []any{b.studio.Key, "ben", "blue", "blue-1"}},
		"uses": {queries.SumUses, "firings_during",
			[]any{b.studio.Key, week.Start, week.End, "department 7", day.Start, "{}", "{1}"}},
		"unused": {queries.SumUnused, "firings_during", []any{b.studio.Key, day.Start, "maker 7", day.Start, "{1}"}},
		"loads":  {queries.LoadsOfRuns, "Index Scan using loads_", []any{b.studio.Key, "{1,2,3,4,5,6,7,8,9}"}},
	}
	for name, c := range asked {
		for _, mode := range []string{"force_generic_plan", "force_custom_plan"} {
			plan := b.plan(mode, c.sql, c.args...)
			assert.Contains(t, plan, c.index, "%s, %s:\n%s", name, mode, plan)
			assert.NotRegexp(t, `Seq Scan on (firing|loads|runs)`, plan, "%s, %s:\n%s", name, mode, plan)
		}
	}
	assert.Len(t, b.firingsOver(store.FiringsQuery{Window: week}), 4*7+1)
	assert.Equal(t, []string{r.Loads[0].Firing.ID}, ids(b.lock(history, day, "").NewFirings))
}
