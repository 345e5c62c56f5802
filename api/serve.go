package api

// Listening: time limits, the cap on connections, HTTP/2, and a graceful stop.

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"sync"
	"sync/atomic"
	"time"
)

// Time limits of a connection.
const (
	slowHeaders = 5 * time.Second
	slowBody    = 30 * time.Second
	slowReader  = 60 * time.Second
)

// Serve listens on the configured address and serves until ctx ends; then it
// takes no more connections, lets open requests finish within Limits.Grace,
// stops the jobs and returns nil. started is called with the address once it
// listens; nil: nobody is told.
func Serve(ctx context.Context, h *Service, started func(addr string)) error {
	cfg := h.s.Config
	l, err := net.Listen("tcp", cfg.Addr)
	if err != nil {
		return fmt.Errorf("api: listen on %s: %w", cfg.Addr, err)
	}
	var protocols http.Protocols
	protocols.SetHTTP1(true)
	protocols.SetHTTP2(true)
	protocols.SetUnencryptedHTTP2(true)
	server := &http.Server{Handler: h, ReadHeaderTimeout: slowHeaders, ReadTimeout: slowBody, WriteTimeout: slowReader,
		IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10, Protocols: &protocols,
		HTTP2: &http.HTTP2Config{MaxConcurrentStreams: 100}}
	limited := &cappedListener{Listener: l, most: int64(h.s.limits.Connections)}
	if started != nil {
		started(l.Addr().String())
	}
	served := make(chan error, 1)
	go func() {
		if cfg.TLSCert != "" {
			served <- server.ServeTLS(limited, cfg.TLSCert, cfg.TLSKey)
			return
		}
		served <- server.Serve(limited)
	}()
	select {
	case err := <-served:
		return fmt.Errorf("api: serve: %w", err)
	case <-ctx.Done():
	}
	stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), h.s.limits.Grace)
	defer cancel()
	h.s.stopOnce.Do(func() { close(h.s.stopping) }) // event streams end
	down := server.Shutdown(stop)
	if down != nil {
		_ = server.Close()
	}
	return errors.Join(down, h.Close(stop))
}

// cappedListener answers 503 to connections past the cap, without taking them
// into the server.
type cappedListener struct {
	net.Listener
	most int64
	open atomic.Int64
}

const tooManyConnections = "HTTP/1.1 503 Service Unavailable\r\nContent-Type: application/problem+json\r\nRetry-After: 2\r\nConnection: close\r\nContent-Length: 132\r\n\r\n" +
	`{"type":"/problems/busy","title":"The service is busy","status":503,"detail":"Too many connections; try later.","instance":"listen"}`

func (l *cappedListener) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		if l.open.Add(1) > l.most {
			_ = c.SetDeadline(time.Now().Add(time.Second))
			_, _ = c.Write([]byte(tooManyConnections))
			_ = c.Close()
			l.open.Add(-1)
			continue
		}
		return &countedConn{Conn: c, close: sync.OnceFunc(func() { l.open.Add(-1) })}, nil
	}
}

type countedConn struct {
	net.Conn
	close func()
}

func (c *countedConn) Close() error {
	c.close()
	return c.Conn.Close()
}
