package api

// Jobs and remembered answers in the store, where there is one: they outlive the
// process, and another process over the same store answers for them.

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"time"

	"fallwright/parcels"
)

const (
	// heartbeat is how often a running job is written down: within it another
	// process's dismissal is seen.
	heartbeat = time.Second
	// silent is how long a job may go without before its process counts as dead.
	silent = 30 * time.Second
	// keepWithin is the longest that writing one down may take.
	keepWithin = 5 * time.Second
)

// keeper writes jobs and answers to a store; a nil store keeps none.
type keeper struct {
	store parcels.JobStore
	log   *slog.Logger
	now   func() time.Time
}

// job writes a job down as it stands. A store that cannot take it is told in the
// log: the job goes on, and this process still answers for it.
func (k keeper) job(j *job) {
	if k.store == nil {
		return
	}
	j.mu.Lock()
	info, answer := j.info, j.answer
	j.mu.Unlock()
	status, err := json.Marshal(info)
	if err != nil {
		k.log.Error("job not kept", "job", j.id, "error", err)
		return
	}
	row := parcels.Job{ID: j.id, Owner: j.owner, State: info.Status, Created: info.Created, Updated: k.now().UTC(), Expires: info.Expires, Status: status, Media: info.media}
	if info.Status == successful {
		row.Body = answer.Body
		if row.Request, err = json.Marshal(named{answer.Name, answer.Pages}); err != nil {
			k.log.Error("job not kept", "job", j.id, "error", err)
			return
		}
	}
	ctx, cancel := context.WithTimeout(context.Background(), keepWithin)
	defer cancel()
	if err := k.store.PutJob(ctx, row); err != nil {
		k.log.Warn("job not kept", "job", j.id, "error", err)
	}
}

// named is what an answer says beside its body.
type named struct {
	Name  string `json:"name,omitempty"`
	Pages int    `json:"pages,omitempty"`
}

// beat writes a running job down until ctx ends, and cancels it when another
// process has dismissed it.
func (k keeper) beat(ctx context.Context, j *job, dismiss func()) {
	if k.store == nil {
		return
	}
	tick := time.NewTicker(heartbeat)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		if row, err := k.store.Job(ctx, j.id); err == nil && row.State == dismissed {
			dismiss()
			return
		}
		if ctx.Err() == nil {
			k.job(j)
		}
	}
}

// find gives a job that this process does not run; nil: there is none.
func (k keeper) find(ctx context.Context, id string) *job {
	if k.store == nil {
		return nil
	}
	row, err := k.store.Job(ctx, id)
	if err != nil {
		if !isAbsent(err) {
			k.log.Warn("job not read", "job", id, "error", err)
		}
		return nil
	}
	return k.revive(row)
}

// list gives the kept jobs of an owner (empty: all), newest first.
func (k keeper) list(ctx context.Context, owner string) []*job {
	if k.store == nil {
		return nil
	}
	rows, err := k.store.Jobs(ctx, owner, "")
	if err != nil {
		k.log.Warn("jobs not read", "error", err)
		return nil
	}
	out := make([]*job, 0, len(rows))
	for i := len(rows) - 1; i >= 0; i-- {
		if j := k.revive(rows[i]); j != nil {
			out = append(out, j)
		}
	}
	return out
}

// revive makes a job of its row: one whose process has gone silent has failed.
func (k keeper) revive(row parcels.Job) *job {
	now := k.now().UTC()
	if row.Expires != nil && now.After(*row.Expires) {
		return nil
	}
	j := &job{id: row.ID, owner: row.Owner, cancel: func() {}, wake: make(chan struct{}), kept: true}
	if err := json.Unmarshal(row.Status, &j.info); err != nil {
		k.log.Warn("job not read", "job", row.ID, "error", err)
		return nil
	}
	j.info.media = row.Media
	if j.info.Finished == nil && now.Sub(row.Updated) > silent {
		p := problemOf(refuse("interrupted", "The service stopped while the job ran. Send it again."), row.ID)
		updated := row.Updated
		j.info.Status, j.info.Problem, j.info.Message, j.info.Finished, j.info.Updated = failed, &p, p.Detail, &updated, updated
	}
	var n named
	if len(row.Request) > 0 {
		_ = json.Unmarshal(row.Request, &n) // a paper's name: without it the result stands all the same
	}
	j.answer = Answer{Body: row.Body, ContentType: row.Media, Name: n.Name, Pages: n.Pages}
	j.events = []statusInfo{j.info}
	return j
}

// drop takes a finished job out.
func (k keeper) drop(ctx context.Context, id string) error {
	if k.store == nil {
		return nil
	}
	return k.store.DeleteJob(ctx, id)
}

// reply gives the answer that was remembered under a key; nil: none.
func (k keeper) reply(ctx context.Context, key string) *remembered {
	if k.store == nil {
		return nil
	}
	row, err := k.store.Reply(ctx, replyKey(key))
	if err != nil {
		if !isAbsent(err) {
			k.log.Warn("reply not read", "error", err)
		}
		return nil
	}
	if k.now().After(row.Expires) {
		return nil
	}
	e := &remembered{done: make(chan struct{}), made: row.Made, status: row.Status, header: http.Header{}, body: row.Body}
	sum, err := hex.DecodeString(row.SHA256)
	if err != nil || len(sum) != len(e.sum) || json.Unmarshal(row.Header, &e.header) != nil {
		k.log.Warn("reply not read", "error", fmt.Sprint(errors.Join(err, errors.New("its row is damaged"))))
		return nil
	}
	copy(e.sum[:], sum)
	close(e.done)
	return e
}

// remember writes an answer down.
func (k keeper) remember(key string, e *remembered, kept time.Duration) {
	if k.store == nil {
		return
	}
	header, err := json.Marshal(e.header)
	if err != nil {
		k.log.Error("reply not kept", "error", err)
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), keepWithin)
	defer cancel()
	err = k.store.PutReply(ctx, parcels.Reply{Key: replyKey(key), SHA256: hex.EncodeToString(e.sum[:]), Made: e.made.UTC(), Expires: e.made.Add(kept).UTC(),
		Status: e.status, Header: header, Body: e.body})
	if err != nil {
		k.log.Warn("reply not kept", "error", err)
	}
}

// replyKey is the key under which a caller's own key is kept: of any bytes one
// of a fixed form.
func replyKey(key string) string {
	sum := sha256.Sum256([]byte(key))
	return hex.EncodeToString(sum[:])
}

// expire takes out what is past its time.
func (k keeper) expire(ctx context.Context) {
	if k.store == nil {
		return
	}
	if _, err := k.store.Expire(ctx, k.now().UTC()); err != nil {
		k.log.Warn("kept jobs not expired", "error", err)
	}
}
