package api

// Writes that are sent twice under one Idempotency-Key are done once. Answers
// are remembered for as long as results are kept: in this process, and in the
// store where there is one.

import (
	"bytes"
	"crypto/sha256"
	"io"
	"net/http"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
)

type remembered struct {
	sum    [32]byte
	done   chan struct{}
	made   time.Time
	status int // 0: the first try failed, the key is free again
	header http.Header
	body   []byte
}

type answers struct {
	mu   sync.Mutex
	m    map[string]*remembered
	kept time.Duration
	most int
	now  func() time.Time
	keep keeper
}

func newAnswers(l Limits, now func() time.Time, k keeper) *answers {
	return &answers{m: map[string]*remembered{}, kept: l.KeptTime, most: 10 * l.KeptJobs, now: now, keep: k}
}

// claim gives the answer of an earlier request, or nil and makes the caller the
// first; the caller must then settle it.
func (a *answers) claim(key string, sum [32]byte) (mine, earlier *remembered) {
	a.mu.Lock()
	defer a.mu.Unlock()
	now := a.now()
	if e := a.m[key]; e != nil && now.Sub(e.made) < a.kept {
		return nil, e
	}
	if len(a.m) >= a.most {
		for k, e := range a.m {
			select {
			case <-e.done:
				if len(a.m) >= a.most || now.Sub(e.made) >= a.kept {
					delete(a.m, k)
				}
			default:
			}
		}
	}
	e := &remembered{sum: sum, done: make(chan struct{}), made: now}
	a.m[key] = e
	return e, nil
}

func (a *answers) settle(key string, e *remembered, status int, header http.Header, body []byte) {
	a.mu.Lock()
	e.status, e.header, e.body = status, header, body
	if status == 0 {
		delete(a.m, key)
	}
	a.mu.Unlock()
	if status != 0 {
		a.keep.remember(key, e, a.kept)
	}
	close(e.done)
}

// recorder keeps a copy of what goes to the client.
type recorder struct {
	http.ResponseWriter
	body bytes.Buffer
}

func (r *recorder) Write(b []byte) (int, error) {
	r.body.Write(b)
	return r.ResponseWriter.Write(b)
}

func (r *recorder) Unwrap() http.ResponseWriter { return r.ResponseWriter }

// once lets a request with an Idempotency-Key be done once.
func (s *service) once(operation string, next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		key := c.Request().Header.Get("Idempotency-Key")
		if key == "" {
			return next(c)
		}
		if len(key) > 200 {
			return refuse("parameter-invalid", "An Idempotency-Key has at most 200 characters.")
		}
		body, err := s.readBody(c)
		if err != nil {
			return err
		}
		r := c.Request()
		h := sha256.New()
		for _, part := range []string{operation, r.URL.RawQuery, r.Header.Get("Content-Type"), r.Header.Get("Prefer"), r.Header.Get("If-Match")} {
			_, _ = io.WriteString(h, part+"\x00")
		}
		_, _ = h.Write(body)
		r.Body, r.ContentLength = io.NopCloser(bytes.NewReader(body)), int64(len(body))
		r.Header.Del("Content-Encoding")
		sum, key := [32]byte(h.Sum(nil)), caller(c).ID+"\x00"+key
		for {
			mine, earlier := s.answers.claim(key, sum)
			if mine != nil {
				if earlier = s.answers.keep.reply(r.Context(), key); earlier != nil {
					s.answers.settle(key, mine, 0, nil, nil)
				}
			}
			if earlier == nil {
				return s.first(c, key, mine, next)
			}
			if earlier.sum != sum {
				return refuse("idempotency-mismatch", "This Idempotency-Key came with another request before.")
			}
			select {
			case <-earlier.done:
			case <-r.Context().Done():
				return r.Context().Err()
			}
			if earlier.status != 0 {
				for k, v := range earlier.header {
					c.Response().Header()[k] = v
				}
				c.Response().WriteHeader(earlier.status)
				_, err := c.Response().Write(earlier.body)
				return err
			}
		}
	}
}

// first runs the request. Only an answer of success is remembered: a refusal
// changed nothing, and the same key may try again.
func (s *service) first(c echo.Context, key string, mine *remembered, next echo.HandlerFunc) (err error) {
	rec := &recorder{ResponseWriter: c.Response().Writer}
	c.Response().Writer = rec
	defer func() {
		status := c.Response().Status
		if err != nil || !c.Response().Committed || status >= 300 {
			status = 0
		}
		header := http.Header{}
		for _, k := range []string{"Content-Type", "Location", "ETag", "Preference-Applied", "Cache-Control", "Content-Disposition", "Sheet-Count"} {
			if v := c.Response().Header().Values(k); len(v) > 0 {
				header[k] = v
			}
		}
		s.answers.settle(key, mine, status, header, rec.body.Bytes())
	}()
	return next(c)
}
