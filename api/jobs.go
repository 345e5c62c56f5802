package api

// Jobs: work that the client does not wait for. They run in this process. Their
// state and results are kept in the store where there is one, and outlive it.

import (
	"context"
	"crypto/rand"
	"encoding/base32"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"

	"fallwright/parcels"
)

// status of a job, in the words of OGC API - Processes.
const (
	accepted   = "accepted"
	running    = "running"
	successful = "successful"
	failed     = "failed"
	dismissed  = "dismissed"
)

// statusInfo is the status document of a job.
type statusInfo struct {
	Type      string     `json:"type"`
	ProcessID string     `json:"processID"`
	JobID     string     `json:"jobID"`
	Status    string     `json:"status"`
	Message   string     `json:"message,omitempty"`
	Progress  int        `json:"progress"`
	Created   time.Time  `json:"created"`
	Started   *time.Time `json:"started,omitempty"`
	Finished  *time.Time `json:"finished,omitempty"`
	Updated   time.Time  `json:"updated"`
	Expires   *time.Time `json:"expires,omitempty"`
	Problem   *problem   `json:"problem,omitempty"`
	Links     []link     `json:"links,omitempty"`

	media string // of the result
}

type job struct {
	id, owner string
	request   string // id of the request that made it
	cancel    context.CancelFunc
	work      func(context.Context, func(int, int, string)) (Answer, error)

	mu     sync.Mutex
	info   statusInfo
	events []statusInfo // one for each change of status or percent
	wake   chan struct{}
	answer Answer
	size   int64
	kept   bool // read from the store: another process runs it, or did
}

// jobList runs jobs and keeps what they gave.
type jobList struct {
	limits  Limits
	now     func() time.Time
	metrics *metrics
	keep    keeper
	stop    context.CancelFunc
	ctx     context.Context
	workers sync.WaitGroup

	mu      sync.Mutex
	more    *sync.Cond // waiting has grown, or ctx has ended
	waiting []*job
	jobs    map[string]*job
	order   []*job // oldest first
	held    int64  // bytes of results
	swept   time.Time
}

func newJobList(l Limits, now func() time.Time, m *metrics, k keeper) *jobList {
	ctx, stop := context.WithCancel(context.Background())
	list := &jobList{limits: l, now: now, metrics: m, keep: k, ctx: ctx, stop: stop, jobs: map[string]*job{}}
	list.more = sync.NewCond(&list.mu)
	for range l.RunningJobs {
		list.workers.Add(1)
		go list.worker()
	}
	return list
}

// close dismisses what runs and waits for it until ctx ends.
func (l *jobList) close(ctx context.Context) error {
	l.mu.Lock()
	l.stop()
	l.more.Broadcast()
	l.mu.Unlock()
	done := make(chan struct{})
	go func() { l.workers.Wait(); close(done) }()
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("api: jobs still run: %w", ctx.Err())
	}
}

func newID() string {
	var b [15]byte
	_, _ = rand.Read(b[:]) // never fails (crypto/rand)
	return strings.ToLower(base32.StdEncoding.EncodeToString(b[:]))
}

func (l *jobList) add(process string, who identity, base, request string, work func(context.Context, func(int, int, string)) (Answer, error)) (*job, error) {
	now := l.now().UTC()
	j := &job{id: newID(), owner: who.ID, request: request, work: work, wake: make(chan struct{}),
		info: statusInfo{Type: "process", ProcessID: process, Status: accepted, Created: now, Updated: now}}
	j.info.JobID = j.id
	j.cancel = func() {}
	j.events = []statusInfo{j.info}
	l.expire()
	l.sweep()
	if err := l.queue(j); err != nil {
		return nil, err
	}
	l.keep.job(j) // before the client hears of it
	l.mu.Lock()
	defer l.mu.Unlock()
	l.waiting = append(l.waiting, j)
	l.more.Signal()
	return j, nil
}

// queue takes a job in, if there is room.
func (l *jobList) queue(j *job) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.waiting) >= l.limits.QueuedJobs {
		return refuse("busy", "%d jobs wait already. Send the job again later.", l.limits.QueuedJobs).retry(5)
	}
	l.jobs[j.id] = j
	l.order = append(l.order, j)
	return nil
}

// expire forgets what is past its time, and the oldest results past the room
// there is.
func (l *jobList) expire() {
	now := l.now()
	l.mu.Lock()
	defer l.mu.Unlock()
	over := len(l.order) - l.limits.KeptJobs
	l.order = slices.DeleteFunc(l.order, func(j *job) bool {
		j.mu.Lock()
		defer j.mu.Unlock()
		if j.info.Finished == nil {
			return false
		}
		if over > 0 || l.held > l.limits.KeptBytes || j.info.Expires != nil && now.After(*j.info.Expires) {
			over--
			l.held -= j.size
			delete(l.jobs, j.id)
			return true
		}
		return false
	})
}

// sweep takes kept jobs past their time out of the store, at most once a minute.
func (l *jobList) sweep() {
	now := l.now()
	l.mu.Lock()
	due := now.Sub(l.swept) > time.Minute
	if due {
		l.swept = now
	}
	l.mu.Unlock()
	if due {
		l.keep.expire(l.ctx)
	}
}

func (l *jobList) worker() {
	defer l.workers.Done()
	for {
		l.mu.Lock()
		for len(l.waiting) == 0 && l.ctx.Err() == nil {
			l.more.Wait()
		}
		if l.ctx.Err() != nil {
			l.mu.Unlock()
			return
		}
		j := l.waiting[0]
		l.waiting = l.waiting[1:]
		l.mu.Unlock()
		l.run(j)
	}
}

func (l *jobList) run(j *job) {
	ctx, cancel := context.WithTimeout(l.ctx, l.limits.JobTime)
	defer cancel()
	started := l.now().UTC()
	j.mu.Lock()
	if j.info.Status == dismissed {
		j.mu.Unlock()
		return
	}
	j.cancel = cancel
	j.info.Started = &started
	j.changed(l.now(), running, 0, "")
	j.mu.Unlock()
	l.metrics.jobs.WithLabelValues(running).Inc()
	defer l.metrics.jobs.WithLabelValues(running).Dec()

	beats, still := context.WithCancel(ctx)
	var beating sync.WaitGroup
	beating.Go(func() { l.keep.beat(beats, j, func() { l.dismiss(j) }) })
	answer, err := guarded(func() (Answer, error) {
		return j.work(ctx, func(n, total int, note string) { l.progress(j, n, total, note) })
	})
	still()
	beating.Wait()
	defer l.keep.job(j) // when both locks are free again

	l.mu.Lock() // who holds both takes l.mu first
	defer l.mu.Unlock()
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.info.Status == dismissed {
		return
	}
	now := l.now().UTC()
	expires := now.Add(l.limits.KeptTime)
	j.info.Finished, j.info.Expires = &now, &expires
	if err != nil {
		status, text := failed, ""
		if l.ctx.Err() != nil {
			status, text = dismissed, "The service stopped."
		} else {
			p := problemOf(err, j.request)
			j.info.Problem, text = &p, p.Detail
		}
		j.changed(l.now(), status, j.info.Progress, text)
		return
	}
	j.answer, j.size = answer, int64(len(answer.Body))
	j.info.media = answer.ContentType
	l.held += j.size
	j.changed(l.now(), successful, 100, "")
}

// guarded turns a panic of the work into an error: one job must not end the
// process.
func guarded(f func() (Answer, error)) (a Answer, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("api: job: panic: %v", r)
		}
	}()
	return f()
}

// changed records a change; j.mu is held.
func (j *job) changed(now time.Time, status string, percent int, message string) {
	j.info.Status, j.info.Progress, j.info.Updated = status, percent, now.UTC()
	j.info.Message = message
	j.events = append(j.events, j.info)
	close(j.wake)
	j.wake = make(chan struct{})
}

func (l *jobList) progress(j *job, n, total int, note string) {
	if total <= 0 {
		return
	}
	percent := min(max(n*100/total, 0), 99)
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.info.Status != running || percent <= j.info.Progress && len(j.events) > 2 {
		return
	}
	message := fmt.Sprintf("%d of %d", n, total)
	if note != "" {
		message += ": " + parcels.Excerpt(note)
	}
	j.changed(l.now(), running, percent, message)
}

// status is the status document with its links.
func (j *job) status(base string) statusInfo {
	j.mu.Lock()
	defer j.mu.Unlock()
	return withLinks(j.info, base)
}

func withLinks(info statusInfo, base string) statusInfo {
	at := base + "/jobs/" + info.JobID
	info.Links = []link{{Href: at, Rel: "self", Type: appJSON, Title: "Status"}, {Href: at + "/events", Rel: "monitor", Type: "text/event-stream", Title: "Progress"}}
	if info.Status == successful {
		info.Links = append(info.Links, link{Href: at + "/results", Rel: "http://www.opengis.net/def/rel/ogc/1.0/results", Type: info.media, Title: "Result"})
	}
	return info
}

// find gives the job if the caller may see it; one of another key cannot be
// told from one that does not exist.
func (l *jobList) find(ctx context.Context, id string, who identity) (*job, error) {
	l.expire()
	l.mu.Lock()
	j := l.jobs[id]
	l.mu.Unlock()
	if j == nil {
		j = l.keep.find(ctx, id)
	}
	if j != nil && (j.owner == who.ID || who.Role == admin) {
		return j, nil
	}
	return nil, refuse("not-found", "There is no job %s; a result is kept for %s.", parcels.Excerpt(id), l.limits.KeptTime)
}

func (s *service) listJobs(c echo.Context) error {
	limit, err := positive(c, "limit", 100, 1000)
	if err != nil {
		return err
	}
	s.jobs.expire()
	who, base := caller(c), s.base(c)
	s.jobs.mu.Lock()
	var own []*job
	for _, j := range slices.Backward(s.jobs.order) {
		if (j.owner == who.ID || who.Role == admin) && len(own) < limit {
			own = append(own, j)
		}
	}
	s.jobs.mu.Unlock()
	owner := who.ID
	if who.Role == admin {
		owner = ""
	}
	for _, j := range s.jobs.keep.list(c.Request().Context(), owner) {
		if !slices.ContainsFunc(own, func(o *job) bool { return o.id == j.id }) && (owner == "" || j.owner == owner) {
			own = append(own, j)
		}
	}
	slices.SortStableFunc(own, func(a, b *job) int { return b.created().Compare(a.created()) })
	own = own[:min(len(own), limit)]
	list := make([]statusInfo, len(own))
	for i, j := range own {
		list[i] = j.status(base)
	}
	return s.respond(c, "Jobs", map[string]any{"jobs": list, "links": s.selfLinks(c, "/jobs")})
}

func (s *service) job(c echo.Context) error {
	j, err := s.jobs.find(c.Request().Context(), c.Param("job"), caller(c))
	if err != nil {
		return err
	}
	c.Response().Header().Set("Cache-Control", "no-store")
	return s.respond(c, "Job", j.status(s.base(c)))
}

func (s *service) dismissJob(c echo.Context) error {
	j, err := s.jobs.find(c.Request().Context(), c.Param("job"), caller(c))
	if err != nil {
		return err
	}
	j.mu.Lock()
	if j.info.Finished != nil { // remove it
		j.info.Status = dismissed
		info, size := j.info, j.size
		j.mu.Unlock()
		s.jobs.mu.Lock()
		if s.jobs.jobs[j.id] == j {
			delete(s.jobs.jobs, j.id)
			s.jobs.order = slices.DeleteFunc(s.jobs.order, func(o *job) bool { return o == j })
			s.jobs.held -= size
		}
		s.jobs.mu.Unlock()
		if err := s.jobs.keep.drop(c.Request().Context(), j.id); err != nil {
			return err
		}
		info.Links = nil
		return c.JSON(http.StatusOK, info)
	}
	j.mu.Unlock()
	s.jobs.dismiss(j)
	s.jobs.keep.job(j)
	return c.JSON(http.StatusOK, j.status(s.base(c)))
}

// dismiss ends a job that waits or runs, here or, by what the store then says of
// it, in another process.
func (l *jobList) dismiss(j *job) {
	now := l.now().UTC()
	expires := now.Add(l.limits.KeptTime)
	j.mu.Lock()
	if j.info.Finished == nil {
		j.info.Finished, j.info.Expires = &now, &expires
		j.changed(now, dismissed, j.info.Progress, "Dismissed by the client.")
		j.cancel()
	}
	j.mu.Unlock()
	l.mu.Lock()
	l.waiting = slices.DeleteFunc(l.waiting, func(o *job) bool { return o == j })
	l.mu.Unlock()
}

// follow takes over what a later reading of the store says.
func (j *job) follow(later *job) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if later.info.Status == j.info.Status && later.info.Progress == j.info.Progress && later.info.Message == j.info.Message {
		return
	}
	j.info, j.answer = later.info, later.answer
	j.events = append(j.events, j.info)
}

func (j *job) created() time.Time {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.info.Created
}

func (s *service) jobResults(c echo.Context) error {
	j, err := s.jobs.find(c.Request().Context(), c.Param("job"), caller(c))
	if err != nil {
		return err
	}
	j.mu.Lock()
	info, a := j.info, j.answer
	j.mu.Unlock()
	switch info.Status {
	case successful:
		return send(c, a)
	case failed:
		p := *info.Problem
		c.Set("failure", fmt.Errorf("api: result of failed job %s", j.id))
		body, err := json.Marshal(p)
		if err != nil {
			return fmt.Errorf("api: job problem: %w", err)
		}
		return c.Blob(p.Status, "application/problem+json", body)
	case dismissed:
		return refuse("not-found", "The job was dismissed; it has no result.")
	default:
		return refuse("job-not-finished", "The job is %s at %d percent.", info.Status, info.Progress).retry(2)
	}
}

// jobEvents streams the changes of a job. Event ids count from 1.
func (s *service) jobEvents(c echo.Context) error {
	j, err := s.jobs.find(c.Request().Context(), c.Param("job"), caller(c))
	if err != nil {
		return err
	}
	seen := 0
	if last := c.Request().Header.Get("Last-Event-ID"); last != "" {
		if seen, err = strconv.Atoi(last); err != nil || seen < 0 {
			return refuse("parameter-invalid", "Last-Event-ID is the number of an event.")
		}
	}
	j.mu.Lock()
	over := j.info.Finished != nil && seen >= len(j.events)
	j.mu.Unlock()
	if over {
		return c.NoContent(http.StatusNoContent) // an EventSource stops coming back
	}
	w := c.Response()
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("X-Accel-Buffering", "no")
	w.WriteHeader(http.StatusOK)
	control := http.NewResponseController(w)
	write := func(text string) error {
		_ = control.SetWriteDeadline(time.Now().Add(slowReader)) // an unbounded stream, but no stuck reader
		if _, err := w.Write([]byte(text)); err != nil {
			return err
		}
		return control.Flush()
	}
	if err := write("retry: 2000\n\n"); err != nil {
		return nil
	}
	beat := time.NewTicker(15 * time.Second)
	defer beat.Stop()
	base := s.base(c)
	var look <-chan time.Time // at what another process makes of it
	if j.kept {
		tick := time.NewTicker(heartbeat)
		defer tick.Stop()
		look = tick.C
	}
	for {
		j.mu.Lock()
		events, wake := slices.Clone(j.events[min(seen, len(j.events)):]), j.wake
		final := j.info.Finished != nil
		j.mu.Unlock()
		for _, e := range events {
			seen++
			data, err := json.Marshal(withLinks(e, base))
			if err != nil {
				return fmt.Errorf("api: event: %w", err)
			}
			if err := write(fmt.Sprintf("id: %d\nevent: status\ndata: %s\n\n", seen, data)); err != nil {
				return nil // the reader has gone
			}
		}
		if final {
			return nil
		}
		select {
		case <-wake:
		case <-look:
			if again := s.jobs.keep.find(c.Request().Context(), j.id); again != nil {
				j.follow(again)
			}
		case <-beat.C:
			if err := write(": \n\n"); err != nil {
				return nil
			}
		case <-c.Request().Context().Done():
			return nil
		case <-s.stopping:
			return nil
		}
	}
}
