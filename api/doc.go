// Package api is the service: routes, OGC documents, jobs' addresses, problem
// details, keys and limits. It computes nothing about a yard; an Engine that
// package main wires answers, and a parcels.Store keeps.
//
// The OpenAPI document (package openapi) is the source of the addresses: New
// registers one handler for each operation of it and refuses to start when one
// lacks the other. An address is one entry there and one line in
// (*service).operations.
//
// Units are those of the documents that pass through: SI, a key ends in its
// unit. Coordinates are those of the documents and stores; reference systems
// are changed by geo/frame only.
//
// The package may import openapi, parcels, geo and hydro. Status codes are
// chosen in errors.go and nowhere else. Nothing here reads a flag, a file of
// configuration or the environment: package main does and hands in Config.
//
// Sources: OGC API - Features Part 1 (17-069r4) and Part 2 (18-058r1); OGC API -
// Processes Part 1 (18-062r2); RFC 9110, 9457, 7240 (Prefer), 7946; the HTML
// standard's server-sent events; the Mapbox Vector Tile specification 2.1.
package api
