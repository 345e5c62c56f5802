// Package openapi holds the OpenAPI 3.1 document of the service: openapi.yaml
// is its source, with the full schema of the site document, the criteria and
// every result, and one worked example of each in example/. Package api serves
// it and answers by it; tests hold the two together both ways.
//
// Units are those of the document: SI, a key ends in its unit. The package
// imports nothing of this module.
//
// Sources: OpenAPI Specification 3.1.0 and 3.0.3; JSON Schema 2020-12; OGC API -
// Features Parts 1 and 2 (17-069r4, 18-058r1); OGC API - Processes Part 1
// (18-062r2); RFC 7946; RFC 9457.
package openapi
