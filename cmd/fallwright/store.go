package main

// The store by its name: a file or a database.

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"fallwright/parcels"
	"fallwright/parcels/store/gpkg"
	"fallwright/parcels/store/postgis"
)

// storeUse is what a store is opened for.
type storeUse int

const (
	storeWritten storeUse = iota // made when missing
	storeRead                    // must be there
	storeServed                  // as written, by one service at a time
	storeThere                   // written, and must be there
)

func openStore(name string, use storeUse) (parcels.Store, error) {
	switch {
	case strings.HasPrefix(name, "postgres://"), strings.HasPrefix(name, "postgresql://"):
		s, err := postgis.Open(name)
		if err != nil {
			return nil, err
		}
		return s, nil
	case strings.EqualFold(filepath.Ext(name), ".gpkg"):
		if _, err := os.Stat(name); use == storeThere && errors.Is(err, fs.ErrNotExist) {
			use = storeRead // which says that there is none
		}
		s, err := gpkg.Open(name, gpkg.Options{Hold: use == storeServed, ReadOnly: use == storeRead})
		if err != nil {
			return nil, err
		}
		return s, nil
	}
	return nil, &parcels.Error{Kind: parcels.Invalid, Op: "store", Subject: parcels.Excerpt(name), Err: fmt.Errorf("a store is a file that ends in .gpkg, or postgres://...")}
}
