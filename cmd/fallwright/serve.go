package main

// fallwright serve.

import (
	"fmt"
	"log/slog"
	"os"

	"fallwright/api"
	"fallwright/parcels"
	"fallwright/sampledata"
)

type serveCmd struct {
	Addr  string `help:"Address to listen on. Beyond loopback the configuration must name keys." default:"127.0.0.1:8080" env:"FALLWRIGHT_ADDR"`
	Store string `help:"Store of sites and results: a file (name.gpkg) or postgres://...; made when missing. None: nothing is kept." placeholder:"S" env:"FALLWRIGHT_STORE"`
	Quiet bool   `help:"Log nothing but faults."`
}

func (c serveCmd) Run(e *env) error {
	level := slog.LevelInfo
	if c.Quiet {
		level = slog.LevelError
	}
	options := api.Options{Engine: engine{}, Sample: sampledata.LonLat(), SampleLots: []string{sampledata.Sample}, Version: version(),
		Config: api.Config{Addr: c.Addr}, Log: slog.New(slog.NewJSONHandler(os.Stderr, &slog.HandlerOptions{Level: level}))}
	if c.Store != "" {
		store, err := openStore(c.Store, storeServed)
		if err != nil {
			return err
		}
		defer store.Close()
		options.Store = store
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
