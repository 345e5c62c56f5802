package api

// Who may do what: headers, Host and Origin, keys and roles, the rate limit.

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"
	"golang.org/x/time/rate"

	"fallwright/parcels"
)

// A role is what a key may do; a higher one may do all of the lower.
type role int

const (
	anyone role = iota // no key asked
	reader
	designer
	admin
)

var roleNames = map[string]role{"reader": reader, "designer": designer, "admin": admin}

// An identity is who calls.
type identity struct {
	ID    string
	Role  role
	Sites []string // "*": all
}

func (i identity) scope(site string) bool {
	return slices.Contains(i.Sites, "*") || slices.Contains(i.Sites, site)
}

// local is who calls when no keys are asked.
var local = identity{ID: "local", Role: admin, Sites: []string{"*"}}

// keyRing holds the keys by their hash.
type keyRing map[[32]byte]Key

func newKeyRing(keys []Key) (keyRing, error) {
	ring := keyRing{}
	names := map[string]bool{}
	for i, k := range keys {
		raw, err := hex.DecodeString(k.Hash)
		if err != nil || len(raw) != 32 {
			return nil, fmt.Errorf("api: key %d (%s): sha256 is not 64 hexadecimal digits", i, k.ID)
		}
		if k.ID == "" || names[k.ID] {
			return nil, fmt.Errorf("api: key %d: id %q is empty or twice", i, k.ID)
		}
		names[k.ID] = true
		if roleNames[k.Role] == 0 {
			return nil, fmt.Errorf("api: key %s: role %q is none of reader, designer, admin", k.ID, k.Role)
		}
		if len(k.Sites) == 0 {
			return nil, fmt.Errorf("api: key %s: sites is empty; list their names, or \"*\" for all", k.ID)
		}
		ring[[32]byte(raw)] = k
	}
	return ring, nil
}

// NewKey makes a bearer key of 256 random bits: the key, which is shown once,
// and its hash, which is configured. The key is as strong as its hash, so a
// plain SHA-256 is enough.
func NewKey() (key, hash string) {
	var b [32]byte
	_, _ = rand.Read(b[:])
	key = "fw_" + base64.RawURLEncoding.EncodeToString(b[:])
	sum := sha256.Sum256([]byte(key))
	return key, hex.EncodeToString(sum[:])
}

// protect sets the headers of every answer and refuses foreign hosts and pages.
func (s *service) protect(next echo.HandlerFunc) echo.HandlerFunc {
	policy := s.Config.contentPolicy()
	return func(c echo.Context) error {
		h, r := c.Response().Header(), c.Request()
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Content-Security-Policy", policy)
		if r.TLS != nil {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		if !s.hostAllowed(r.Host) {
			return refuse("host-not-allowed", "This service does not go by the name %s.", parcels.Excerpt(r.Host))
		}
		if o := r.Header.Get("Origin"); o != "" && !s.originAllowed(o, r) {
			return refuse("origin-not-allowed", "Pages of %s may not call this service.", parcels.Excerpt(o))
		}
		if site := r.Header.Get("Sec-Fetch-Site"); site == "cross-site" && r.Header.Get("Origin") == "" && r.Method != http.MethodGet && r.Method != http.MethodHead {
			return refuse("origin-not-allowed", "Another site's page may not call this service.")
		}
		if strings.ContainsRune(r.URL.Path, 0) {
			return refuse("not-found", "There is nothing at this address; see /docs.")
		}
		return next(c)
	}
}

func (s *service) hostAllowed(host string) bool {
	name := host
	if n, _, err := net.SplitHostPort(host); err == nil {
		name = n
	}
	name = strings.ToLower(strings.Trim(name, "[]"))
	if s.Config.loopback() {
		if name == "localhost" {
			return true
		}
		if ip, err := netip.ParseAddr(name); err == nil && ip.IsLoopback() {
			return true
		}
	} else if own, _, _ := net.SplitHostPort(s.Config.Addr); own != "" && name == strings.ToLower(own) {
		return true
	}
	for _, h := range s.Config.Hosts {
		if strings.EqualFold(h, host) || strings.EqualFold(h, name) {
			return true
		}
	}
	return false
}

func (s *service) originAllowed(origin string, r *http.Request) bool {
	if slices.Contains(s.Config.Origins, origin) {
		return true
	}
	u, err := url.Parse(origin)
	return err == nil && u.Host != "" && strings.EqualFold(u.Host, r.Host)
}

// identify finds out who calls. A key that is sent must be good even where none
// is asked.
func (s *service) identify(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if len(s.keys) == 0 {
			c.Set("caller", local)
			return next(c)
		}
		header := c.Request().Header.Get("Authorization")
		scheme, token, _ := strings.Cut(header, " ")
		if header == "" {
			return next(c) // guard asks for a key where one is needed
		}
		if !strings.EqualFold(scheme, "Bearer") {
			return refuse("key-missing", "Send Authorization: Bearer and a key.")
		}
		// looking up the hash tells nothing of a key by its timing
		k, ok := s.keys[sha256.Sum256([]byte(strings.TrimSpace(token)))]
		if !ok || k.Expires != nil && s.Now().After(*k.Expires) {
			return refuse("key-missing", "The key is not known or has run out.")
		}
		c.Set("caller", identity{ID: k.ID, Role: roleNames[k.Role], Sites: k.Sites})
		return next(c)
	}
}

func caller(c echo.Context) identity {
	i, _ := c.Get("caller").(identity)
	return i
}

// guard asks for the role that an operation needs.
func (s *service) guard(operation string, need role, next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		c.Set("operation", operation)
		if need != anyone {
			who := caller(c)
			if who.Role == anyone {
				return refuse("key-missing", "A key is needed: send Authorization: Bearer and a key.")
			}
			if who.Role < need {
				return refuse("role-too-low", "The key %s may not do this.", who.ID)
			}
		}
		return next(c)
	}
}

// maySee refuses a site that the store lacks or the key may not see, in the
// same words.
func (s *service) maySee(c echo.Context, site string) error {
	if s.Store == nil {
		return refuse("no-store", "This service has no store of sites; send the site document itself.")
	}
	if !siteName.MatchString(site) || !caller(c).scope(site) {
		return absent(site)
	}
	return nil
}

func absent(site string) error {
	return refuse("not-found", "There is no site %s.", parcels.Excerpt(site))
}

// limitRate holds each key, or address without one, to its rate.
func (s *service) limitRate() echo.MiddlewareFunc {
	if s.limits.PerSecond == 0 {
		return func(next echo.HandlerFunc) echo.HandlerFunc { return next }
	}
	return middleware.RateLimiterWithConfig(middleware.RateLimiterConfig{
		Store: middleware.NewRateLimiterMemoryStoreWithConfig(middleware.RateLimiterMemoryStoreConfig{
			Rate: rate.Limit(s.limits.PerSecond), Burst: s.limits.Burst, ExpiresIn: 3 * time.Minute}),
		IdentifierExtractor: func(c echo.Context) (string, error) {
			if who := caller(c); who.ID != "" && who.ID != local.ID {
				return "key " + who.ID, nil
			}
			return "address " + c.RealIP(), nil
		},
		DenyHandler: func(c echo.Context, _ string, _ error) error {
			return refuse("too-many-requests", "More than %g requests a second. Wait a second.", s.limits.PerSecond).retry(1)
		},
	})
}

// changed tells the audit log of a change.
func (s *service) changed(c echo.Context, what, site string, version int64) {
	e := Change{When: s.Now().UTC(), Who: caller(c).ID, What: what, Site: site, Request: requestID(c), Version: version}
	s.Log.Info("change", "who", e.Who, "what", e.What, "site", e.Site, "version", e.Version, "request", e.Request)
	if s.Audit != nil {
		s.Audit(e)
	}
}
