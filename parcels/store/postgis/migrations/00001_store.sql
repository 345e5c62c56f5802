-- +goose Up
CREATE TABLE fallwright.sites (name text PRIMARY KEY, crs text NOT NULL, version bigint NOT NULL, changed timestamptz NOT NULL, document bytea);
CREATE TABLE fallwright.layers (site text NOT NULL, layer text NOT NULL, features bigint NOT NULL,
  min_x double precision, min_y double precision, max_x double precision, max_y double precision, written boolean NOT NULL, place bigserial,
  PRIMARY KEY (site, layer));
CREATE TABLE fallwright.history (site text NOT NULL, version bigint NOT NULL, at timestamptz NOT NULL, who text NOT NULL, what text NOT NULL,
  PRIMARY KEY (site, version));
CREATE TABLE fallwright.results (number bigserial PRIMARY KEY, site text NOT NULL, kind text NOT NULL, version bigint NOT NULL,
  input_sha256 text NOT NULL, program text NOT NULL, made timestamptz NOT NULL, inputs bytea, body bytea);
CREATE INDEX results_site ON fallwright.results (site, kind);

-- one table a layer; the keys are those of the site document
-- +goose StatementBegin
DO $$
DECLARE l text;
BEGIN
  FOREACH l IN ARRAY ARRAY['parcels', 'streets', 'districts', 'buildings', 'openings', 'easements', 'swales', 'inlets', 'outlets',
    'intakes', 'perforated_runs', 'obstacles', 'drains', 'spots', 'contours', 'breaklines'] LOOP
    EXECUTE format('CREATE TABLE fallwright.%I (fid bigserial PRIMARY KEY, site text NOT NULL, feature_id text, geom geometry, properties json)', l);
    EXECUTE format('CREATE UNIQUE INDEX %I ON fallwright.%I (site, feature_id) WHERE feature_id IS NOT NULL', l || '_id', l);
    EXECUTE format('CREATE INDEX %I ON fallwright.%I (site, fid)', l || '_site', l);
    EXECUTE format('CREATE INDEX %I ON fallwright.%I USING gist (geom)', l || '_geom', l);
  END LOOP;
END $$;
-- +goose StatementEnd
CREATE INDEX parcels_lot ON fallwright.parcels (site, (properties ->> 'lot'));

-- +goose Down
DROP SCHEMA fallwright CASCADE;
