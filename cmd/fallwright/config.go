package main

// The service's configuration: built-in values, then a YAML file, then the
// environment, then flags; the last one wins.

import (
	"bytes"
	"fmt"
	"io"

	"go.yaml.in/yaml/v3"

	"fallwright/api"
)

// config reads a configuration file over the built-in values; an unknown key is
// an error. No file is no error.
func (e *env) config(file string) (api.Config, error) {
	var c api.Config
	if file == "" {
		return c, nil
	}
	b, err := e.read(file)
	if err != nil {
		return c, err
	}
	dec := yaml.NewDecoder(bytes.NewReader(b))
	dec.KnownFields(true)
	if err := dec.Decode(&c); err != nil && err != io.EOF {
		return c, inputFault(file, "configuration-invalid", fmt.Sprintf("The configuration cannot be read: %v.", err))
	}
	return c, nil
}

// newKey makes a bearer key, prints it once, and prints the lines that let it
// in, which hold its hash only.
func (e *env) newKey(name string) error {
	key, hash := api.NewKey()
	_, err := fmt.Fprintf(e.stdout, "The key of %s, shown this once: %s\nPut this into the configuration (role reader, designer or admin; sites by name, or \"*\"):\n\nkeys:\n  - id: %s\n    sha256: %s\n    role: designer\n    sites: [\"*\"]\n", name, key, name, hash)
	return err
}
