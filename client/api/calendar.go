package api

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
)

// mostCalendarBytes is more than a studio's calendar of years holds.
const mostCalendarBytes = 16 << 20

var noCalendarAddress = errors.New("that is no address of a calendar: give what 'saggar feed create' showed, which begins with https://")

// notRead is a server that does not answer as it should.
func notRead(format string, args ...any) error {
	text := fmt.Sprintf(format, args...)
	return unreachable{errors.New(text), text}
}

// ReadCalendar fetches the text of a calendar from its address, as a program that subscribes to it does. The server is known as it
// is for calls: by its fingerprint where one is given, else by the system's authorities. The address is a secret and stands in no
// error. ExitCode knows those of a server that cannot be reached; the others are about
// the address.
func ReadCalendar(ctx context.Context, address string, server TLS) ([]byte, error) {
	place, err := url.Parse(address)
	if err != nil || place.Scheme != "https" || place.Host == "" {
		return nil, noCalendarAddress
	}
	config, err := server.config()
	if err != nil {
		return nil, err
	}
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, address, http.NoBody)
	if err != nil {
		return nil, noCalendarAddress
	}
	transport := &http.Transport{TLSClientConfig: config, Proxy: http.ProxyFromEnvironment, ForceAttemptHTTP2: true}
	defer transport.CloseIdleConnections()
	response, err := (&http.Client{Transport: transport}).Do(request)
	if err != nil {
		var wrapped *url.Error
		if errors.As(err, &wrapped) {
			err = wrapped.Err
		}
		return nil, notRead("no calendar from %s: %v", place.Host, err)
	}
	defer response.Body.Close()
	switch {
	case response.StatusCode == http.StatusNotFound:
		return nil, fmt.Errorf("%s knows no calendar of that address: it was revoked, or is another server's; 'saggar feed create' makes a new one", place.Host)
	case response.StatusCode != http.StatusOK:
		return nil, notRead("%s answers %s", place.Host, response.Status)
	}
	text, err := io.ReadAll(io.LimitReader(response.Body, mostCalendarBytes+1))
	switch {
	case err != nil:
		return nil, notRead("the calendar from %s broke off: %v", place.Host, err)
	case len(text) > mostCalendarBytes:
		return nil, notRead("%s sends more than %d MiB, which is no calendar of a studio", place.Host, mostCalendarBytes>>20)
	}
	return text, nil
}
