package api

// Configuration: one structure that package main fills, least first, from the
// built-in values, a YAML file, the environment, and flags. Nothing here reads
// any of them.

import (
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"regexp"
	"runtime"
	"strings"
	"time"
)

// Config is what an operator sets. The zero value serves one machine: loopback,
// no keys.
type Config struct {
	// Addr is the address to listen on; empty: 127.0.0.1:8080.
	Addr string `yaml:"addr"`
	// Hosts are the names by which clients call the service, with or without a
	// port. Loopback names count always on a loopback address.
	Hosts []string `yaml:"hosts"`
	// Origins are the web origins whose pages may call it (CORS).
	Origins []string `yaml:"origins"`
	// PublicURL is the address clients see, when something stands in front
	// (https://drains.example.org/fallwright); empty: as each request says.
	PublicURL string `yaml:"public_url"`
	// Keys are the bearer keys; needed beyond loopback.
	Keys []Key `yaml:"keys"`
	// TLSCert and TLSKey are PEM files; with them the service speaks TLS and
	// HTTP/2.
	TLSCert string `yaml:"tls_cert"`
	TLSKey  string `yaml:"tls_key"`
	// Tiles are addresses of background pictures that the map page may show:
	// tiles by {z}, {x} and {y} (or {-y}, rows from the south), or WMTS by
	// {TileMatrix}, {TileCol} and {TileRow} of the web mercator set. Pages may
	// fetch pictures of their origins, and of no other; none: of the service's
	// own alone.
	Tiles  []string `yaml:"tiles"`
	Limits Limits   `yaml:"limits"`
}

// Key is a bearer key. Hash is the SHA-256 of the key in hexadecimal, as NewKey
// gives it.
type Key struct {
	ID      string     `yaml:"id"`
	Hash    string     `yaml:"sha256"`
	Role    string     `yaml:"role"`  // reader, designer, admin
	Sites   []string   `yaml:"sites"` // names; "*": all
	Expires *time.Time `yaml:"expires"`
}

// Limits are the bounds of what one request, one client and all may ask. A zero
// is the default, which stands in the comment.
type Limits struct {
	BodyBytes   int64         `yaml:"body_bytes"`   // of a body, sent or unpacked; 64 MiB
	PerSecond   float64       `yaml:"per_second"`   // requests a second of one key or address; 200 beyond loopback, none (0) on it
	Burst       int           `yaml:"burst"`        // at once; twice PerSecond
	Connections int           `yaml:"connections"`  // open at once; 2000
	Concurrent  int           `yaml:"concurrent"`   // direct executions at once of checks and zones, of quick plans, and of all others, of the last two one less; GOMAXPROCS
	Waiting     int           `yaml:"waiting"`      // checks and zones that may wait for their turn, and others; 4 times GOMAXPROCS
	SyncTime    time.Duration `yaml:"sync_time"`    // of a direct execution; 25 s
	JobTime     time.Duration `yaml:"job_time"`     // of a job; 2 h
	RunningJobs int           `yaml:"running_jobs"` // at once; half the processors, at least 1
	QueuedJobs  int           `yaml:"queued_jobs"`  // 100
	KeptJobs    int           `yaml:"kept_jobs"`    // finished ones remembered; 1000
	KeptBytes   int64         `yaml:"kept_bytes"`   // of their results; 256 MiB
	KeptTime    time.Duration `yaml:"kept_time"`    // 24 h
	PageItems   int           `yaml:"page_items"`   // features of a page at most; 10000
	TileItems   int           `yaml:"tile_items"`   // features of a tile at most; 20000
	Grace       time.Duration `yaml:"grace"`        // for open requests at a stop; 20 s
}

func (c Config) withDefaults() Config {
	if c.Addr == "" {
		c.Addr = "127.0.0.1:8080"
	}
	l := &c.Limits
	n := runtime.GOMAXPROCS(0)
	def(&l.BodyBytes, 64<<20)
	if !c.loopback() {
		def(&l.PerSecond, 200)
	}
	def(&l.Burst, int(2*l.PerSecond))
	def(&l.Connections, 2000)
	def(&l.Concurrent, n)
	def(&l.Waiting, 4*n)
	def(&l.SyncTime, 25*time.Second)
	def(&l.JobTime, 2*time.Hour)
	def(&l.RunningJobs, max(1, n/2))
	def(&l.QueuedJobs, 100)
	def(&l.KeptJobs, 1000)
	def(&l.KeptBytes, 256<<20)
	def(&l.KeptTime, 24*time.Hour)
	def(&l.PageItems, 10000)
	def(&l.TileItems, 20000)
	def(&l.Grace, 20*time.Second)
	return c
}

func def[T comparable](v *T, d T) {
	var zero T
	if *v == zero {
		*v = d
	}
}

// loopback says whether only this machine can reach the address.
func (c Config) loopback() bool {
	host, _, err := net.SplitHostPort(c.Addr)
	if err != nil {
		return false
	}
	if host == "localhost" {
		return true
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.IsLoopback()
}

// check refuses what would be unsafe, and says how to make it safe.
func (c Config) check() error {
	host, _, err := net.SplitHostPort(c.Addr)
	if err != nil {
		return fmt.Errorf("api: addr %q is not of the form host:port", c.Addr)
	}
	if !c.loopback() {
		if len(c.Keys) == 0 {
			return fmt.Errorf("api: %s can be reached from other machines, and no keys are configured: make one with `fallwright serve --new-key NAME`, put what it prints under keys: in the configuration, or listen on 127.0.0.1", c.Addr)
		}
		ip, err := netip.ParseAddr(host)
		if len(c.Hosts) == 0 && (host == "" || err == nil && ip.IsUnspecified()) {
			return fmt.Errorf("api: %s listens under every name: list under hosts: in the configuration the names by which clients call the service", c.Addr)
		}
	}
	for _, o := range c.Origins {
		if o == "*" || !strings.Contains(o, "://") || strings.HasSuffix(o, "/") {
			return fmt.Errorf("api: origin %q is not of the form https://name[:port]", o)
		}
	}
	for _, t := range c.Tiles {
		if _, err := tileOrigin(t); err != nil {
			return err
		}
	}
	if (c.TLSCert == "") != (c.TLSKey == "") {
		return fmt.Errorf("api: tls_cert and tls_key go together")
	}
	if c.Limits.BodyBytes < 0 || c.Limits.PerSecond < 0 || c.Limits.Concurrent < 0 || c.Limits.QueuedJobs < 0 {
		return fmt.Errorf("api: a limit is negative")
	}
	return nil
}

// tilePlaces are the two ways in which an address says where a tile goes.
var tilePlaces = [][]string{{"{z}", "{x}", "y}"}, {"{TileMatrix}", "{TileCol}", "{TileRow}"}}

// plainOrigin keeps what stands in a header from ending it or adding to it.
var plainOrigin = regexp.MustCompile(`^https?://[A-Za-z0-9.-]+(:[0-9]+)?$|^https?://\[[0-9a-fA-F:]+\](:[0-9]+)?$`)

// tileOrigin is the web origin of the address of background tiles.
func tileOrigin(address string) (string, error) {
	u, err := url.Parse(address)
	origin := ""
	if err == nil {
		origin = u.Scheme + "://" + u.Host
	}
	if !plainOrigin.MatchString(origin) {
		return "", fmt.Errorf("api: tiles %q is no address of the form https://name/.../{z}/{x}/{y}.png", address)
	}
	for _, places := range tilePlaces {
		all := true
		for _, p := range places {
			all = all && strings.Contains(address, p)
		}
		if all {
			return origin, nil
		}
	}
	return "", fmt.Errorf("api: tiles %q does not say where a tile goes: {z}, {x} and {y}, or {TileMatrix}, {TileCol} and {TileRow}", address)
}

// contentPolicy is what pages of the service may load: its own scripts, styles
// and answers, and pictures of the tiles configured.
func (c Config) contentPolicy() string {
	pictures := "'self' data: blob:"
	for _, t := range c.Tiles {
		if o, err := tileOrigin(t); err == nil && !strings.Contains(pictures+" ", " "+o+" ") {
			pictures += " " + o
		}
	}
	return "default-src 'none'; script-src 'self'; style-src 'self'; img-src " + pictures + "; connect-src 'self'; font-src 'self'; worker-src 'self' blob:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
}
