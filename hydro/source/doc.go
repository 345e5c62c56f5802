// Package source lists the published documents that the hydraulic rooms cite.
//
// One entry a document: its key, title, where it can be found, and how it came
// to be known here (Provenance). Findings, doc comments and tests cite the key
// and add the place (equation, table, page) themselves. Beside it stand the published
// limits that are rules and no hydraulics (Limits). The room imports nothing.
package source
