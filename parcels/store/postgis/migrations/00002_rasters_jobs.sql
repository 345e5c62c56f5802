-- +goose Up
ALTER TABLE fallwright.results ADD COLUMN ground_sha256 text NOT NULL DEFAULT '';

-- bytes of rasters and documents in parts; they are mostly packed already
CREATE TABLE fallwright.blobs (site text NOT NULL, sha256 text NOT NULL, part bigint NOT NULL, bytes bytea NOT NULL, PRIMARY KEY (site, sha256, part));
ALTER TABLE fallwright.blobs ALTER COLUMN bytes SET STORAGE EXTERNAL;
CREATE TABLE fallwright.rasters (site text NOT NULL, name text NOT NULL, format text NOT NULL, crs text NOT NULL, cells_across bigint NOT NULL, cells_down bigint NOT NULL,
  west double precision NOT NULL, south double precision NOT NULL, east double precision NOT NULL, north double precision NOT NULL, unit_m double precision NOT NULL,
  size bigint NOT NULL, sha256 text NOT NULL, stored timestamptz NOT NULL, present boolean NOT NULL, PRIMARY KEY (site, name, sha256));
CREATE TABLE fallwright.jobs (id text PRIMARY KEY, owner text NOT NULL, site text NOT NULL, state text NOT NULL, created timestamptz NOT NULL, updated timestamptz NOT NULL,
  expires timestamptz, status bytea, request bytea, media text NOT NULL, body bytea);
CREATE INDEX jobs_owner ON fallwright.jobs (owner, created);
CREATE INDEX jobs_site ON fallwright.jobs (site);
CREATE TABLE fallwright.replies (key text PRIMARY KEY, sha256 text NOT NULL, made timestamptz NOT NULL, expires timestamptz NOT NULL, status bigint NOT NULL, header bytea, body bytea);

-- +goose Down
DROP TABLE fallwright.replies, fallwright.jobs, fallwright.rasters, fallwright.blobs;
ALTER TABLE fallwright.results DROP COLUMN ground_sha256;
