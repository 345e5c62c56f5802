package main

// fallwright serve.

import (
	"fmt"
	"log/slog"
	"os"
	"runtime"

	"fallwright/api"
	"fallwright/api/mapclient"
	"fallwright/parcels"
	"fallwright/sampledata"
)

type serveCmd struct {
	Addr   string `help:"Address to listen on, 127.0.0.1:8080 where nothing says another. Beyond loopback the configuration must name keys." env:"FALLWRIGHT_ADDR"`
	Config string `help:"Configuration file (YAML); the environment and flags stand above it." env:"FALLWRIGHT_CONFIG"`
	NewKey string `help:"Make a bearer key of this name, print it and the lines for the configuration, and stop." placeholder:"NAME"`
	Store  string `help:"Store of sites and results: a file (name.gpkg) or postgres://...; made when missing. None: nothing is kept." placeholder:"S" env:"FALLWRIGHT_STORE"`
	Quiet  bool   `help:"Log nothing but faults."`

	Tiles []string `help:"Address of background tiles that the map page may show, with {z}, {x} and {y}, or of WMTS with {TileMatrix}, {TileCol} and {TileRow}; repeat for more. None: the page loads nothing from outside." placeholder:"URL" sep:"none" env:"FALLWRIGHT_TILES"`
}

func (c serveCmd) Run(e *env) error {
	if c.NewKey != "" {
		return e.newKey(c.NewKey)
	}
	cfg, err := e.config(c.Config)
	if err != nil {
		return err
	}
	if c.Addr != "" {
		cfg.Addr = c.Addr
	}
	level := slog.LevelInfo
	if c.Quiet {
		level = slog.LevelError
	}
	if len(c.Tiles) > 0 {
		cfg.Tiles = c.Tiles
	}
	page, err := mapclient.Page(sampledata.LonLat(), parcels.Cautions, cfg.Tiles, c.Store != "")
	if err != nil {
		return &parcels.Error{Kind: parcels.Failed, Op: "serve", Err: err}
	}
	if os.Getenv("GOMAXPROCS") == "" {
		// Plans may keep as many processors busy as there are: with one thread more
		// the operating system lets a check in at once, where Go would let it wait
		// until a plan has had its 10 ms.
		runtime.GOMAXPROCS(runtime.GOMAXPROCS(0) + 1)
	}
	held := engine{}.remembering()
	options := api.Options{Engine: held, Memory: held.memory, Page: page, Sample: sampledata.LonLat(), SampleLots: []string{sampledata.Sample}, Version: version(),
		Config: cfg, Log: slog.New(slog.NewJSONHandler(os.Stderr, &slog.HandlerOptions{Level: level}))}
	if c.Store != "" {
		store, err := openStore(c.Store, storeServed)
		if err != nil {
			return err
		}
		defer store.Close()
		g := held
		g.store = store
		if isPostgres(c.Store) {
			q, done, err := openQueue(e.ctx, c.Store, store)
			if err != nil {
				return err
			}
			defer done()
			g.queue = q
		}
		options.Store, options.Engine = store, g
	}
	s, err := api.New(options)
	if err != nil {
		return &parcels.Error{Kind: parcels.Failed, Op: "serve", Err: err}
	}
	err = api.Serve(e.ctx, s, func(addr string) {
		fmt.Fprintf(e.stdout, "The map page is at http://%s/ and the service's document at http://%s/docs; stop with Ctrl-C.\n", addr, addr)
	})
	if err != nil {
		return &parcels.Error{Kind: parcels.Failed, Op: "serve", Err: err}
	}
	return nil
}
