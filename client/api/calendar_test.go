package api_test

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/client/api"
)

func TestACalendarIsReadFromTheServerThatWasPinned(t *testing.T) {
	server := httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/feeds/secret.ics" {
			http.NotFound(w, r)
			return
		}
		_, _ = w.Write([]byte("BEGIN:VCALENDAR\r\n"))
	}))
	defer server.Close()
	sum := sha256.Sum256(server.Certificate().Raw)
	pinned, other := api.TLS{Fingerprint: hex.EncodeToString(sum[:])}, api.TLS{Fingerprint: strings.Repeat("00", sha256.Size)}
	address := server.URL + "/feeds/secret.ics"

	text, err := api.ReadCalendar(context.Background(), address, pinned)
	require.NoError(t, err)
	assert.Equal(t, "BEGIN:VCALENDAR\r\n", string(text))

	for name, c := range map[string]struct {
		address string
		server  api.TLS
		want    int
	}{
		"another server":  {address, other, api.ExitUnreachable},
		"no authority":    {address, api.TLS{}, api.ExitUnreachable},
		"revoked":         {server.URL + "/feeds/secret2.ics", pinned, api.ExitInternal},
		"no HTTPS":        {strings.Replace(address, "https:", "http:", 1), pinned, api.ExitInternal},
		"no address":      {"secret", pinned, api.ExitInternal},
		"nobody is there": {"https://127.0.0.1:1/feeds/secret.ics", pinned, api.ExitUnreachable},
	} {
		_, err := api.ReadCalendar(context.Background(), c.address, c.server)
		assert.Equal(t, c.want, api.ExitCode(err), "%s: %v", name, err)
		assert.NotContains(t, err.Error(), "secret", name)
	}
}
