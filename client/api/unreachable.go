package api

import (
	"fmt"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// causes are what the system says of a connection that could not be made or broke.
var causes = []string{"no such file or directory", "permission denied", "connection refused", "connection reset", "EOF"}

// handshakeFailed is how the library begins what TLS says.
const handshakeFailed = "authentication handshake failed: "

// plain makes one line, with the address and what to look at, of what the library says when nobody answers. Errors that a
// server sent stay.
func (o Options) plain(err error) error {
	s, ok := status.FromError(err)
	if err == nil || !ok || s.Code() != codes.Unavailable || len(s.Details()) > 0 {
		return err
	}
	if _, handshake, failed := strings.Cut(s.Message(), handshakeFailed); failed {
		return unreachable{err, fmt.Sprintf("%s: %s", o.Address, strings.TrimSuffix(handshake, `"`))}
	}
	why := ""
	for _, cause := range causes {
		if strings.Contains(s.Message(), cause) {
			why = " (" + cause + ")"
			break
		}
	}
	return unreachable{err, fmt.Sprintf(
		"nothing answers at %s%s; see that saggard runs, and that --server or SAGGAR_SERVER names its address", o.Address, why)}
}

// unreachable is the library's error with a sentence for people; its code stays.
type unreachable struct {
	error
	text string
}

func (u unreachable) Error() string { return u.text }
func (u unreachable) Unwrap() error { return u.error }
