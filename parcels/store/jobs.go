package store

// Jobs and replies of the service.

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"fallwright/parcels"
)

// PutJob stores a job, in place of the one with its id.
func (t *Tables) PutJob(ctx context.Context, j parcels.Job) error {
	if j.ID == "" {
		return &parcels.Error{Kind: parcels.Invalid, Op: "store: put job", Err: errors.New("the job has no id")}
	}
	var expires any
	if j.Expires != nil {
		expires = t.Stamp(moment(*j.Expires))
	}
	return t.write(ctx, "put job", "", func(tx *sql.Tx) error {
		return t.exec(ctx, tx, `INSERT INTO @jobs (id, owner, site, state, created, updated, expires, status, request, media, body) VALUES ($1,$2,$3,$4,$5,$6,$7,$8,$9,$10,$11)
			ON CONFLICT (id) DO UPDATE SET owner = excluded.owner, site = excluded.site, state = excluded.state, created = excluded.created, updated = excluded.updated,
			expires = excluded.expires, status = excluded.status, request = excluded.request, media = excluded.media, body = excluded.body`,
			j.ID, j.Owner, j.Site, j.State, t.Stamp(moment(j.Created)), t.Stamp(moment(j.Updated)), expires, []byte(j.Status), []byte(j.Request), j.Media, j.Body)
	})
}

const jobColumns = "id, owner, site, state, created, updated, expires, status, media, coalesce(length(body), 0)"

func job(row interface{ Scan(...any) error }, more ...any) (j parcels.Job, err error) {
	var expires time.Time
	var status []byte
	err = row.Scan(append([]any{&j.ID, &j.Owner, &j.Site, &j.State, at{&j.Created}, at{&j.Updated}, at{&expires}, &status, &j.Media, &j.Bytes}, more...)...)
	j.Status = status
	if !expires.IsZero() {
		j.Expires = &expires
	}
	return j, err
}

// Job is one, whole.
func (t *Tables) Job(ctx context.Context, id string) (j parcels.Job, err error) {
	err = t.read(ctx, "job", id, func(tx *sql.Tx) error {
		var request, body []byte
		j, err = job(tx.QueryRowContext(ctx, t.q("SELECT "+jobColumns+", request, body FROM @jobs WHERE id = $1"), id), &request, &body)
		if err == sql.ErrNoRows {
			return absent("job", "job", parcels.Excerpt(id))
		}
		j.Request, j.Body = request, body
		return err
	})
	return j, err
}

// Jobs lists those of an owner and state, oldest first.
func (t *Tables) Jobs(ctx context.Context, owner, state string) (out []parcels.Job, err error) {
	err = t.read(ctx, "jobs", owner, func(tx *sql.Tx) error {
		return t.rows(ctx, tx, func(rows *sql.Rows) error {
			j, err := job(rows)
			out = append(out, j)
			return err
		}, "SELECT "+jobColumns+" FROM @jobs WHERE ($1 = '' OR owner = $1) AND ($2 = '' OR state = $2) ORDER BY created, id", owner, state)
	})
	return out, err
}

// DeleteJob takes one out.
func (t *Tables) DeleteJob(ctx context.Context, id string) error {
	return t.write(ctx, "delete job", "", func(tx *sql.Tx) error {
		return t.exec(ctx, tx, "DELETE FROM @jobs WHERE id = $1", id)
	})
}

// PutReply stores a reply, in place of the one with its key.
func (t *Tables) PutReply(ctx context.Context, r parcels.Reply) error {
	return t.write(ctx, "put reply", "", func(tx *sql.Tx) error {
		return t.exec(ctx, tx, `INSERT INTO @replies (key, sha256, made, expires, status, header, body) VALUES ($1,$2,$3,$4,$5,$6,$7)
			ON CONFLICT (key) DO UPDATE SET sha256 = excluded.sha256, made = excluded.made, expires = excluded.expires, status = excluded.status, header = excluded.header, body = excluded.body`,
			r.Key, r.SHA256, t.Stamp(moment(r.Made)), t.Stamp(moment(r.Expires)), r.Status, []byte(r.Header), r.Body)
	})
}

// Reply is the one of a key.
func (t *Tables) Reply(ctx context.Context, key string) (r parcels.Reply, err error) {
	err = t.read(ctx, "reply", "", func(tx *sql.Tx) error {
		var header []byte
		err := tx.QueryRowContext(ctx, t.q("SELECT key, sha256, made, expires, status, header, body FROM @replies WHERE key = $1"), key).
			Scan(&r.Key, &r.SHA256, at{&r.Made}, at{&r.Expires}, &r.Status, &header, &r.Body)
		if err == sql.ErrNoRows {
			return absent("reply", "reply", "")
		}
		r.Header = header
		return err
	})
	return r, err
}

// Expire takes out the jobs and replies whose time is before now.
func (t *Tables) Expire(ctx context.Context, now time.Time) (n int, err error) {
	err = t.write(ctx, "expire", "", func(tx *sql.Tx) error {
		n = 0
		for _, table := range []string{"jobs", "replies"} {
			got, err := tx.ExecContext(ctx, t.q("DELETE FROM @"+table+" WHERE expires < $1"), t.Stamp(moment(now)))
			if err != nil {
				return err
			}
			k, err := got.RowsAffected()
			if err != nil {
				return err
			}
			n += int(k)
		}
		return nil
	})
	return n, err
}
