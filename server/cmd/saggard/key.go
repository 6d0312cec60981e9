package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// keepFirstKey writes the first steward's key to a file that only its owner may read, once, when the database has no key
// yet. Room for the file is made before the key, since nothing could show that again. A file of another database's key is
// moved aside.
func keepFirstKey(ctx context.Context, first func(context.Context) (string, bool, error), path string, say io.Writer) error {
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o711); err != nil {
		return err
	}
	// A temporary file has mode 0600 from the start.
	file, err := os.CreateTemp(dir, filepath.Base(path)+".*")
	if err != nil {
		return fmt.Errorf("make room for the first key: %w", err)
	}
	defer func() {
		// Both are done already when all went well.
		_, _ = file.Close(), os.Remove(file.Name())
	}()
	secret, made, err := first(ctx)
	if err != nil || !made {
		return err
	}
	if _, err := file.WriteString(secret + "\n"); err != nil {
		return err
	}
	if err := errors.Join(file.Sync(), file.Close(), moveAside(path, say), os.Rename(file.Name(), path), syncDir(dir)); err != nil {
		return fmt.Errorf("keep the first key: %w", err)
	}
	_, err = fmt.Fprintln(say, "saggard: first key written to", path)
	return err
}

func moveAside(path string, say io.Writer) error {
	aside := path + ".old"
	err := os.Rename(path, aside)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err == nil {
		_, err = fmt.Fprintln(say, "saggard: the key that was there is of another database and is now in", aside)
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
