package api

// What the operator sees: one log line and some counters a request. Neither
// holds parcel data, paths with names, queries or keys.

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"runtime/debug"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

type metrics struct {
	requests *prometheus.CounterVec
	seconds  *prometheus.HistogramVec
	open     prometheus.Gauge
	jobs     *prometheus.GaugeVec
}

func newMetrics(r *prometheus.Registry) *metrics {
	m := &metrics{
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "fallwright_requests_total", Help: "Requests answered, by operation and status."}, []string{"operation", "status"}),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "fallwright_request_seconds", Help: "Time to answer, by operation.",
			Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10, 30}}, []string{"operation"}),
		open: prometheus.NewGauge(prometheus.GaugeOpts{Name: "fallwright_requests_open", Help: "Requests being answered."}),
		jobs: prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "fallwright_jobs", Help: "Jobs by status."}, []string{"status"}),
	}
	r.MustRegister(m.requests, m.seconds, m.open, m.jobs, collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

func (s *service) metricsText(c echo.Context) error {
	promhttp.HandlerFor(s.registry, promhttp.HandlerOpts{}).ServeHTTP(c.Response(), c.Request())
	return nil
}

func requestID(c echo.Context) string {
	id, _ := c.Get("request").(string)
	return id
}

// observe gives each request its id, logs and counts it, and turns a panic into
// an error.
func (s *service) observe(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		start := time.Now()
		id := newID()
		c.Set("request", id)
		c.Response().Header().Set("X-Request-Id", id)
		s.metrics.open.Inc()
		defer s.metrics.open.Dec()

		err := func() (err error) {
			defer func() {
				if r := recover(); r != nil {
					if r == http.ErrAbortHandler {
						panic(r)
					}
					err = fmt.Errorf("api: panic: %v\n%s", r, debug.Stack())
				}
			}()
			return next(c)
		}()
		if err != nil {
			c.Error(err) // writes the answer, so that its status is known here
		}
		op, _ := c.Get("operation").(string)
		if op == "" {
			op = "none"
		}
		status, took := c.Response().Status, time.Since(start)
		s.metrics.requests.WithLabelValues(op, strconv.Itoa(status)).Inc()
		s.metrics.seconds.WithLabelValues(op).Observe(took.Seconds())
		level := slog.LevelInfo
		attrs := []slog.Attr{slog.String("request", id), slog.String("operation", op), slog.Int("status", status),
			slog.Float64("ms", float64(took.Microseconds())/1000), slog.Int64("bytes", c.Response().Size), slog.String("who", caller(c).ID)}
		if status >= 500 {
			level = slog.LevelError
			if err == nil {
				err, _ = c.Get("failure").(error)
			}
			if err != nil && !errors.Is(err, context.Canceled) {
				attrs = append(attrs, slog.String("cause", err.Error()))
			}
		}
		s.Log.LogAttrs(context.WithoutCancel(c.Request().Context()), level, "request", attrs...)
		return nil
	}
}

func (s *service) health(c echo.Context) error {
	return c.JSON(http.StatusOK, map[string]string{"status": "ok", "version": s.Version})
}

func (s *service) ready(c echo.Context) error {
	select {
	case <-s.stopping:
		return refuse("busy", "The service is stopping.").retry(5)
	default:
	}
	if s.Store != nil {
		ctx, cancel := context.WithTimeout(c.Request().Context(), 2*time.Second)
		defer cancel()
		if err := s.Store.Ready(ctx); err != nil {
			c.Set("failure", err)
			return refuse("store-failed", "The store does not answer.").retry(5)
		}
	}
	return c.JSON(http.StatusOK, map[string]string{"status": "ready", "version": s.Version})
}
