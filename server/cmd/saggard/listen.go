package main

import (
	"errors"
	"fmt"
	"net"
	"os"
	"syscall"
)

// listen opens the address, a Unix socket so that only its owner can use it. A socket that a dead server left is removed.
func listen(network, address string) (net.Listener, error) {
	if network != "unix" {
		return net.Listen(network, address)
	}
	if err := removeDeadSocket(address); err != nil {
		return nil, err
	}
	// The mode must be right from the first moment on, which only the mask can do; a file made meanwhile would be stricter.
	former := syscall.Umask(0o177)
	defer syscall.Umask(former)
	return net.Listen(network, address)
}

func removeDeadSocket(path string) error {
	info, err := os.Lstat(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if info.Mode().Type() != os.ModeSocket {
		return fmt.Errorf("listen on %s: there is something else than a socket; name another path", path)
	}
	connection, err := net.Dial("unix", path)
	if err == nil {
		return errors.Join(fmt.Errorf("listen on %s: another server serves there", path), connection.Close())
	}
	if !errors.Is(err, syscall.ECONNREFUSED) {
		return fmt.Errorf("listen on %s: %w", path, err)
	}
	return os.Remove(path)
}

// addressOf writes an address as --listen takes it.
func addressOf(listener net.Listener) string {
	if listener.Addr().Network() == "unix" {
		return "unix:" + listener.Addr().String()
	}
	return listener.Addr().String()
}
