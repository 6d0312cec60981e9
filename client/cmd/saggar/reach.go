package main

import (
	"cmp"
	"errors"
	"io/fs"
	"os"

	"saggar/client/account"
	"saggar/client/api"
)

// settle finds out which server and studio are meant: what was typed or set in the environment, otherwise the context's.
// A context that was made for another server than the one named is left alone, with its key: a key goes only where it was
// signed in to.
func (s *shell) settle() error {
	if s.settled {
		return nil
	}
	book, err := s.config().Read()
	if err != nil {
		return badInput(err)
	}
	name, c, found, err := book.Named(s.contextName)
	if err != nil {
		return badInput(err)
	}
	if found && (s.contextName != "" || s.server == "" || s.server == c.Server) {
		s.context = name
		s.server = cmp.Or(s.server, c.Server)
		s.studio = cmp.Or(s.studio, c.Studio)
		s.tls = merged(s.tls, c)
		if s.server != c.Server {
			return badInput(errors.New("--server " + s.server + " is not the server of context " + name + ": leave one of the two out"))
		}
	}
	s.server = cmp.Or(s.server, api.DefaultAddress)
	s.settled = true
	return nil
}

// merged is how a server is known: as was typed or set, otherwise as the context says.
func merged(typed api.TLS, c account.Context) api.TLS {
	return api.TLS{
		Always: typed.Always || c.TLS, Fingerprint: cmp.Or(typed.Fingerprint, c.Fingerprint),
		CertificateFile: cmp.Or(typed.CertificateFile, c.CertificateFile), KeyFile: cmp.Or(typed.KeyFile, c.KeyFile),
	}
}

// config is the user's folder of contexts and keys.
func (s *shell) config() account.Folder { return account.In(account.DefaultDir(s.lookupEnv)) }

// key is the caller's secret: from the file that was named, the environment, the context, or the first key of a server that
// the same user runs on this machine, which goes nowhere else. It is never taken from the command line, which other users
// of the machine can read.
func (s *shell) key() (string, error) {
	if s.keyFile != "" {
		return api.ReadKey(s.keyFile)
	}
	if key := s.env("SAGGAR_KEY", ""); key != "" {
		return key, nil
	}
	if s.context != "" {
		return api.ReadKey(s.config().KeyFile(s.context))
	}
	path := s.firstKeyFile()
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) || !api.IsLocal(s.server) {
		return "", errors.New("no key: sign in with 'saggar sign-in', or name the file that holds your key with --key-file or " +
			"SAGGAR_KEY_FILE")
	}
	return api.ReadKey(path)
}
