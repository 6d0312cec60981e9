package feed

import (
	"context"
	"crypto/rand"
	"crypto/tls"
	"io"
	"net"
	"net/http"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/heat"
	"saggar/server/app"
	"saggar/server/certificate"
	"saggar/server/domain"
	"saggar/server/pgtest"
	"saggar/server/store"
)

var (
	monday  = time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)
	steward = app.Call{Caller: domain.Caller{ID: "sue", Role: domain.RoleSteward}}
)

// served is an application on a real database, with one run booked, whose calendars are served over TLS.
type served struct {
	app    *app.App
	client *http.Client
	run    domain.Run
}

func serve(t *testing.T) *served {
	t.Helper()
	ctx := t.Context()
	kept, err := store.Open(ctx, pgtest.New(t), store.Options{})
	require.NoError(t, err)
	t.Cleanup(kept.Close)
	s := &served{app: app.New(kept, func() time.Time { return monday.Add(-time.Hour) }, rand.Reader)}
	keeper, err := certificate.Open(certificate.Options{Dir: t.TempDir(), Names: []string{"127.0.0.1"}})
	require.NoError(t, err)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	s.app.ServeFeeds("https://" + listener.Addr().String())
	serving, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- New(Options{App: s.app, TLS: keeper.Config()}).Serve(serving, listener) }()
	t.Cleanup(func() {
		s.client.CloseIdleConnections()
		cancel()
		assert.NoError(t, <-done)
	})
	s.client = &http.Client{Transport: &http.Transport{ForceAttemptHTTP2: true, TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}} //nolint:gosec // the authority was made a moment ago
	s.book(t)
	return s
}

// book loads a bench studio and books one run of bench work.
func (s *served) book(t *testing.T) {
	t.Helper()
	ctx := t.Context()
	hours := domain.StaffedHours{ID: "hall", Weekly: []domain.WeeklyHours{{Days: []time.Weekday{0, 1, 2, 3, 4, 5, 6}, OpensMinute: 420, ClosesMinute: 1380}}}
	_, err := s.app.LoadStudio(ctx, steward, app.LoadStudioInput{
		StudioID: "north", Studio: &domain.Studio{ID: "north", Title: "North", TimeZone: "Europe/Lisbon", StepMinutes: 5},
		Equipment: []domain.Equipment{
			{Kind: domain.KindRoom, ID: "hall", Room: &air.Room{
				ID: "hall", VolumeCubicMeters: 300, MakeUpCubicMetersPerSecond: 1, MixingFactor: 3, CrewCount: 2,
			}}, {Kind: domain.KindStaffedHours, ID: "hall", Hours: &hours},
			{Kind: domain.KindFurnace, ID: "hood", Furnace: &heat.Furnace{ID: "hood", Title: "Dust hood", Room: "hall", Source: heat.Bench}},
		},
		Materials: []chem.Material{{ID: "kaolin", Phases: []chem.Phase{{Formula: "Al2Si2O5(OH)4", MassFraction: 1}}}},
		Recipes: []chem.Recipe{{ID: "slip", Title: "Slip", Stages: []chem.Stage{{
			ID: "weigh", Kind: chem.Weigh, BenchMinutes: 60, Furnaces: []string{"hood"}, Additions: []chem.Addition{{Material: "kaolin", MassGrams: 100}},
		}}}},
	})
	require.NoError(t, err)
	require.NoError(t, put(ctx, s.app, domain.Person{ID: "mia", Title: "Mia", Role: domain.RoleMaker}))
	var answer app.PlanAnswer
	require.NoError(t, s.app.PlanRuns(ctx, app.PlanInput{
		StudioID: "north", Runs: []app.RunRequest{{RecipeID: "slip", Department: "ceramics", Scale: chem.Scale{Factor: 1}}},
		Window: domain.Window{Start: monday, End: monday.AddDate(0, 0, 7)},
	}, func(a app.PlanAnswer) error {
		answer = a
		return nil
	}))
	maker := app.Call{Caller: domain.Caller{ID: "mia", Role: domain.RoleMaker}, Method: "BookRun"}
	var codes []string
	for _, f := range answer.Findings {
		codes = append(codes, f.Code)
	}
	booked, err := s.app.BookRun(ctx, maker, app.BookRunInput{StudioID: "north", Runs: answer.Runs, Acknowledged: codes})
	require.NoError(t, err)
	s.run = booked.Runs[0]
}

func put(ctx context.Context, a *app.App, p domain.Person) error {
	_, err := a.UpdatePerson(ctx, steward, "north", p, app.Expectation{AllowMissing: true})
	return err
}

// feed makes one and returns its address.
func (s *served) feed(t *testing.T, owner, subject string) (address string, made domain.Feed) {
	t.Helper()
	call := app.Call{Caller: domain.Caller{ID: owner, Role: domain.RoleMaker}, Method: "CreateFeed"}
	address, made, err := s.app.CreateFeed(t.Context(), call, "north", domain.Feed{Subject: subject})
	require.NoError(t, err)
	return address, made
}

// answer is what a request got.
type answer struct {
	code   int
	header http.Header
	text   string
}

func (s *served) ask(t *testing.T, method, address string, header ...string) answer {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), method, address, nil)
	require.NoError(t, err)
	for i := 0; i+1 < len(header); i += 2 {
		request.Header.Set(header[i], header[i+1])
	}
	response, err := s.client.Do(request)
	require.NoError(t, err)
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	require.NoError(t, err)
	return answer{response.StatusCode, response.Header, string(text)}
}

func TestACalendarIsReadUnderItsAddress(t *testing.T) {
	t.Parallel()
	s := serve(t)
	for _, subject := range []string{"people/mia", "furnaces/hood"} {
		address, _ := s.feed(t, "mia", subject)
		got := s.ask(t, http.MethodGet, address)
		require.Equal(t, http.StatusOK, got.code, subject)
		assert.Equal(t, "text/calendar; charset=utf-8", got.header.Get("Content-Type"))
		assert.Equal(t, 1, strings.Count(got.text, "BEGIN:VEVENT\r\n"), "%s: %s", subject, got.text)
		assert.Contains(t, got.text, "SUMMARY:weigh: Slip in Dust hood\r\n")
		assert.Contains(t, got.text, "STATUS:CONFIRMED\r\n")
		head := s.ask(t, http.MethodHead, address)
		assert.Equal(t, http.StatusOK, head.code)
		assert.Empty(t, head.text)
		assert.Equal(t, got.header.Get("ETag"), head.header.Get("ETag"))
	}
}

func TestWhatDidNotChangeIsNotSentAgain(t *testing.T) {
	t.Parallel()
	s := serve(t)
	address, _ := s.feed(t, "mia", "people/mia")
	first := s.ask(t, http.MethodGet, address)
	again := s.ask(t, http.MethodGet, address, "If-None-Match", first.header.Get("ETag"))
	assert.Equal(t, http.StatusNotModified, again.code)
	assert.Empty(t, again.text)
	_, err := s.app.CancelRun(t.Context(), app.Call{Caller: steward.Caller, Method: "CancelRun"}, app.CancelRunInput{StudioID: "north", RunID: s.run.ID})
	require.NoError(t, err)
	changed := s.ask(t, http.MethodGet, address, "If-None-Match", first.header.Get("ETag"))
	assert.Equal(t, http.StatusOK, changed.code)
	assert.Contains(t, changed.text, "STATUS:CANCELLED\r\n")
	uid := func(text string) string { return between(text, "UID:", "\r\n") }
	assert.Equal(t, uid(first.text), uid(changed.text))
	sequence := func(text string) int {
		n, err := strconv.Atoi(between(text, "SEQUENCE:", "\r\n"))
		require.NoError(t, err)
		return n
	}
	assert.Less(t, sequence(first.text), sequence(changed.text))
}

func between(text, from, to string) string {
	_, rest, _ := strings.Cut(text, from)
	found, _, _ := strings.Cut(rest, to)
	return found
}

// TestAnAddressThatOpensNothingTellsNothing compares the whole answers: guessed, revoked, of somebody who left, ill-formed.
func TestAnAddressThatOpensNothingTellsNothing(t *testing.T) {
	t.Parallel()
	s := serve(t)
	address, revoked := s.feed(t, "mia", "people/mia")
	require.NoError(t, put(t.Context(), s.app, domain.Person{ID: "ben", Role: domain.RoleMaker}))
	gone, _ := s.feed(t, "ben", "furnaces/hood")
	base, _, _ := strings.Cut(address, "/feeds/")
	call := app.Call{Caller: domain.Caller{ID: "mia", Role: domain.RoleMaker}, Method: "RevokeFeed", OwnOnly: true}
	require.Equal(t, http.StatusOK, s.ask(t, http.MethodGet, gone).code)
	_, err := s.app.RevokeFeed(t.Context(), call, "north", revoked.ID)
	require.NoError(t, err)
	require.NoError(t, s.app.DeletePerson(t.Context(), steward, "north", "ben", 0))
	guessed := base + "/feeds/" + strings.Repeat("A", 43) + ".ics"
	for name, at := range map[string]string{
		"revoked": address, "of somebody who left": gone, "guessed": guessed, "short": base + "/feeds/abc.ics", "the root": base + "/",
		"a way up": base + "/feeds/../feeds/x.ics", "without its end": strings.TrimSuffix(guessed, ".ics"), "another folder": base + "/x",
	} {
		got := s.ask(t, http.MethodGet, at)
		assert.Equal(t, http.StatusNotFound, got.code, name)
		assert.Empty(t, got.text, name)
		got.header.Del("Date")
		assert.Equal(t, http.Header{
			"Content-Length": {"0"}, "X-Content-Type-Options": {"nosniff"}, "Referrer-Policy": {"no-referrer"},
		}, got.header, name)
	}
}

func TestOnlyReadingIsServed(t *testing.T) {
	t.Parallel()
	s := serve(t)
	address, _ := s.feed(t, "mia", "people/mia")
	for _, method := range []string{http.MethodPost, http.MethodPut, http.MethodDelete, "PROPFIND", http.MethodOptions} {
		got := s.ask(t, method, address)
		assert.Equal(t, http.StatusMethodNotAllowed, got.code, method)
		assert.Equal(t, "GET, HEAD", got.header.Get("Allow"))
		assert.Empty(t, got.text)
	}
}

func TestReadersAreHeldToARate(t *testing.T) {
	t.Parallel()
	s := serve(t)
	address, _ := s.feed(t, "mia", "people/mia")
	held := 0
	for range readsAtOnce + 40 {
		if got := s.ask(t, http.MethodHead, strings.ReplaceAll(address, ".ics", "x.ics")); got.code == http.StatusTooManyRequests {
			held++
			assert.Equal(t, "60", got.header.Get("Retry-After"))
		}
	}
	assert.Positive(t, held)
}
