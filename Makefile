# Two commands: `make run` and `make test`. Both install what is missing.

.DEFAULT_GOAL := help

BUILD := .build
BUILD_PACKAGES := build-essential pkg-config libgeos-dev libproj-dev proj-data
TEST_PACKAGES := $(BUILD_PACKAGES) postgresql-15 postgresql-15-postgis-3 gdal-bin python3-gdal python3-owslib sqlite3 poppler-utils fontconfig chromium curl

help: ## list the targets
	@grep -hE '^[a-z-]+:.*##' Makefile | sed 's/:.*## /\t/' | expand -t 16

run: deps build ## plan the sample lot, print the plan, start the service
	.ci/run-sample

build: ## build the command into .build/fallwright
	go build -trimpath -o $(BUILD)/fallwright ./cmd/fallwright

test: test-deps ## install what tests need and run every test
	go vet ./...
	go test -timeout 12m ./...

deps:
	@.ci/packages $(BUILD_PACKAGES)

test-deps:
	@.ci/packages $(TEST_PACKAGES)

bench: ## run every benchmark once, with its peer
	go test -run '^$$' -bench . -benchtime 1x ./...

SECONDS_EACH := 60

fuzz: test-deps ## run every fuzz target for SECONDS_EACH (60)
	.ci/fuzz $(SECONDS_EACH)

trust: test-deps ## try to break it: yards, lies, hostile input, kills, load, races, fuzzing; a table of figures
	.ci/trust

long: test-deps ## the long tests: profile, 100,000 lots against GEOS, audits of the large real sets
	FALLWRIGHT_LONG=1 go test -timeout 60m ./hydro/profile
	FALLWRIGHT_ZONE_LOTS=100000 go test -timeout 60m -v -run OracleDirect ./geo/zone
	FALLWRIGHT_LONG=1 go test -timeout 60m -v -run Golden ./parcels/auditor

lots: test-deps ## every lot of the sample and a block of each real parcel set: planned or told why not, with gaps
	FALLWRIGHT_LONG=1 go test -timeout 60m -v -run 'EverySampleLot|RealParcels' ./parcels/planner

county: test-deps ## counties of 10,000 and 100,000 lots audited from both stores: time, memory, the same bytes
	FALLWRIGHT_COUNTY=10000,100000 go test -timeout 60m -v -run CountyMemory ./parcels/auditor
	go test -run '^$$' -bench 'County|PostGIS|Workers' -benchtime 1x ./parcels/auditor

speed: test-deps ## print the README's table of the trench zone's speed
	@.ci/speed

grass: test-deps ## filling and directions against GRASS: the same cells, and the time
	.ci/packages grass-core
	FALLWRIGHT_GRASS=1 go test -run GRASS -v ./geo/overland
	FALLWRIGHT_GRASS=1 go test -run '^$$' -bench Watershed -benchtime 3x ./parcels/exchange/raster

large: ## a raster of 20,000 by 20,000 cells by tiles: the library, and the command with all it writes (15 GB of disk)
	FALLWRIGHT_LARGE=20000 go test -timeout 120m -p 1 -run 'LargeRaster|LargeGround' -v ./geo/overland ./cmd/fallwright

kill: test-deps ## imports of a million lots into a GeoPackage, killed 20 times
	FALLWRIGHT_KILL_LOTS=1000000 go test -timeout 120m -v -run KilledImport ./parcels/store/gpkg

full: test-deps ## imports that run out of disk, 30 times at a limit on files and 30 on a disk of their own
	FALLWRIGHT_FULL_TRIES=30 go test -timeout 60m -v -run DiskFull ./parcels/store/gpkg

scale: test-deps ## a million lots into each store: memory, time, windows (1 GB of disk)
	FALLWRIGHT_LOTS=1000000 go test -timeout 60m -v -run PropertyCounty ./cmd/fallwright

.PHONY: page page-speed speed lots county kill full scale grass large long fuzz trust help run build test deps test-deps bench pictures

PAGE := api/mapclient

page: ## check the types of the map page's sources (needs npm) and bundle them
	cd $(PAGE)/bundle && npm ci --ignore-scripts --no-audit --no-fund && node_modules/.bin/tsc -p ../source
	cd $(PAGE)/bundle && go run . ../page/assets/app.js
	@gzip -9c $(PAGE)/page/assets/app.js | wc -c | xargs -I{} echo "app.js: {} bytes compressed"

page-speed: test-deps ## drag, pan of 20,000 lots, and start of the map page in headless Chromium
	FALLWRIGHT_MEASURE=1 go test -count=1 -v -run TestMeasure ./$(PAGE)

pictures: test-deps build ## make the pictures of the README
	.ci/pictures
