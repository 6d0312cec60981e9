package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// firstKeyFile returns what writes the first steward's key to a file that only its owner may read. A key that was there,
// of another database or of a start that was cut short, is moved aside.
func firstKeyFile(path string, say io.Writer) func(secret string) error {
	return func(secret string) error {
		if err := writeFirstKey(path, secret, say); err != nil {
			return fmt.Errorf("keep the first key: %w", err)
		}
		_, err := fmt.Fprintln(say, "saggard: first key, for one use within a day, written to", path)
		return err
	}
}

func writeFirstKey(path, secret string, say io.Writer) error {
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o711); err != nil {
		return err
	}
	// A temporary file has mode 0600 from the start.
	file, err := os.CreateTemp(dir, filepath.Base(path)+".*")
	if err != nil {
		return err
	}
	defer func() {
		// Both are done already when all went well.
		_, _ = file.Close(), os.Remove(file.Name())
	}()
	if _, err := file.WriteString(secret + "\n"); err != nil {
		return err
	}
	return errors.Join(file.Sync(), file.Close(), moveAside(path, say), os.Rename(file.Name(), path), syncDir(dir))
}

func moveAside(path string, say io.Writer) error {
	aside := path + ".old"
	err := os.Rename(path, aside)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err == nil {
		_, err = fmt.Fprintln(say, "saggard: the key that was there is not this database's and is now in", aside)
	}
	return err
}

// syncDir makes a rename in a folder last.
func syncDir(dir string) error {
	folder, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(folder.Sync(), folder.Close())
}
