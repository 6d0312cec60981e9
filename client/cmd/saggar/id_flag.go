package main

import "saggar/client/file"

// idFlag is a flag that holds an id; a refusal says what one is made of.
type idFlag string

// Set takes the id.
func (f *idFlag) Set(text string) error {
	if err := file.CheckID(text); err != nil {
		return err
	}
	*f = idFlag(text)
	return nil
}

// String is the id.
func (f *idFlag) String() string { return string(*f) }

// Type is what help calls the value.
func (f *idFlag) Type() string { return "id" }
