package mapclient

// The files of the page with what only the program knows.

import (
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"testing/fstest"
)

//go:embed page
var files embed.FS

// Page is the page as a file system: index.html at its top and assets/ below.
// sample is the text of the site document that the page opens as its sample,
// cautions the sentences that it always shows, tiles the addresses of background
// pictures that its reader may choose, store whether the service keeps sites: what
// is read into a store is offered only then.
func Page(sample []byte, cautions, tiles []string, store bool) (fs.FS, error) {
	own, err := fs.Sub(files, "page")
	if err != nil {
		return nil, fmt.Errorf("mapclient: page: %w", err)
	}
	said, err := json.Marshal(cautions)
	if err != nil {
		return nil, fmt.Errorf("mapclient: cautions: %w", err)
	}
	if tiles == nil {
		tiles = []string{}
	}
	settings, err := json.Marshal(map[string]any{"tiles": tiles, "store": store})
	if err != nil {
		return nil, fmt.Errorf("mapclient: settings: %w", err)
	}
	return over{fstest.MapFS{"assets/sample.json": {Data: sample}, "assets/cautions.json": {Data: said}, "assets/settings.json": {Data: settings}}, own}, nil
}

// over looks in the first, then in the second.
type over [2]fs.FS

func (o over) Open(name string) (fs.File, error) {
	if f, err := o[0].Open(name); err == nil {
		if st, err := f.Stat(); err == nil && !st.IsDir() {
			return f, nil
		}
		f.Close()
	}
	return o[1].Open(name)
}
