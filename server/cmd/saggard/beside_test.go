package main

import (
	"context"
	"crypto/tls"
	"errors"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
)

// letterBox is an SMTP server on the loopback that keeps what comes.
type letterBox struct{ letters chan string }

func (b *letterBox) NewSession(*smtp.Conn) (smtp.Session, error) { return b, nil }
func (b *letterBox) Reset()                                      {}
func (b *letterBox) Logout() error                               { return nil }
func (b *letterBox) Mail(string, *smtp.MailOptions) error        { return nil }
func (b *letterBox) Rcpt(string, *smtp.RcptOptions) error        { return nil }
func (b *letterBox) Data(r io.Reader) error {
	text, err := io.ReadAll(r)
	b.letters <- string(text)
	return err
}

func openLetterBox(t *testing.T) (*letterBox, string) {
	t.Helper()
	b := &letterBox{letters: make(chan string, 10)}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	server := smtp.NewServer(b)
	go func() { _ = server.Serve(listener) }()
	t.Cleanup(func() { _ = server.Close() })
	return b, listener.Addr().String()
}

// freeAddress is one that was free a moment ago.
func freeAddress(t *testing.T) string {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer listener.Close()
	return listener.Addr().String()
}

// TestAWholeServerSendsLettersAndServesCalendars closes a room and waits for the letter about it, then reads a calendar.
func TestAWholeServerSendsLettersAndServesCalendars(t *testing.T) {
	t.Parallel()
	dir, err := os.MkdirTemp("", "saggard-test-")
	require.NoError(t, err)
	defer os.RemoveAll(dir)
	require.NoError(t, os.Chmod(dir, 0o711))
	box, office := openLetterBox(t)
	calendars := freeAddress(t)
	flags := []string{
		"--mail-server", office, "--mail-security", "clear", "--mail-from", "kilns@example.edu", "--feed-listen", calendars,
	}
	serveWith(t, dir, flags, func(ctx context.Context, connection *grpc.ClientConn) {
		ctx = stewardOf(ctx, t, dir, connection)
		const north = "studios/north"
		_, err := saggarv1.NewStudioServiceClient(connection).LoadStudio(ctx, &saggarv1.LoadStudioRequest{Name: north, Contents: &saggarv1.StudioFile{
			Studio: &saggarv1.Studio{Name: north, Title: "North", TimeZone: "Europe/Lisbon"},
			Rooms:  []*saggarv1.Room{{Name: north + "/rooms/hall", Title: "Hall", VolumeCubicMeters: 120}},
		}})
		require.NoError(t, err)
		_, err = saggarv1.NewPeopleServiceClient(connection).UpdatePerson(ctx, &saggarv1.UpdatePersonRequest{
			AllowMissing: true, Person: &saggarv1.Person{Name: north + "/people/tom", Role: saggarv1.Role_ROLE_TECHNICIAN},
		})
		require.NoError(t, err)
		_, err = saggarv1.NewMailServiceClient(connection).UpdateMailChoice(ctx, &saggarv1.UpdateMailChoiceRequest{
			AllowMissing: true, MailChoice: &saggarv1.MailChoice{
				Name: north + "/mailChoices/tom", Email: "tom@example.edu", Pace: saggarv1.MailPace_MAIL_PACE_AT_ONCE,
			},
		})
		require.NoError(t, err)
		_, err = saggarv1.NewEquipmentServiceClient(connection).UpdateClosure(ctx, &saggarv1.UpdateClosureRequest{
			AllowMissing: true, Closure: &saggarv1.Closure{
				Name: north + "/closures/floor", Subject: "rooms/hall", StartTime: timestamppb.New(time.Date(2030, 1, 1, 8, 0, 0, 0, time.UTC)),
				EndTime: timestamppb.New(time.Date(2030, 1, 2, 8, 0, 0, 0, time.UTC)),
			},
		})
		require.NoError(t, err)
		select {
		case letter := <-box.letters:
			assert.Contains(t, letter, "Subject: North: 1 change\r\n")
			assert.Contains(t, letter, "closed rooms/hall from Tue 1 Jan 2030 08:00 to Wed 2 Jan 2030 08:00")
		case <-time.After(time.Minute):
			assert.Fail(t, "no letter comes")
		}
		made, err := saggarv1.NewFeedServiceClient(connection).CreateFeed(ctx, &saggarv1.CreateFeedRequest{
			Parent: north, Feed: &saggarv1.Feed{Subject: "people/tom"},
		})
		require.NoError(t, err)
		assert.True(t, strings.HasPrefix(made.GetAddress(), "https://"+calendars+"/feeds/"), made.GetAddress())
		assert.Contains(t, read(t, made.GetAddress()), "BEGIN:VCALENDAR\r\n")
	})
}

// stewardOf exchanges the first key for one that opens everything.
func stewardOf(ctx context.Context, t *testing.T, dir string, connection *grpc.ClientConn) context.Context {
	t.Helper()
	with := func(key string) context.Context {
		return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+strings.TrimSpace(key))
	}
	var made *saggarv1.AccessKey
	require.Eventually(t, func() bool {
		first, err := os.ReadFile(filepath.Join(dir, "first.key"))
		if err != nil {
			return false
		}
		made, err = saggarv1.NewAccessServiceClient(connection).ExchangeAccessKey(with(string(first)), &saggarv1.ExchangeAccessKeyRequest{})
		return err == nil
	}, time.Minute, 50*time.Millisecond)
	return with(made.GetSecret())
}

// read gets a page of a server whose certificate was made a moment ago.
func read(t *testing.T, address string) string {
	t.Helper()
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}} //nolint:gosec // see above
	defer client.CloseIdleConnections()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, address, nil)
	require.NoError(t, err)
	response, err := client.Do(request)
	require.NoError(t, err)
	text, err := io.ReadAll(response.Body)
	require.NoError(t, errors.Join(err, response.Body.Close()))
	require.Equal(t, http.StatusOK, response.StatusCode)
	return string(text)
}

func TestAPasswordFileThatOthersMayReadIsRefused(t *testing.T) {
	path := filepath.Join(t.TempDir(), "password")
	require.NoError(t, os.WriteFile(path, []byte("secret \n"), 0o640))
	_, err := mailPassword(path)
	assert.ErrorContains(t, err, "chmod 600")
	require.NoError(t, os.Chmod(path, 0o600))
	password, err := mailPassword(path)
	require.NoError(t, err)
	assert.Equal(t, "secret ", password, "blanks belong to it")
}
