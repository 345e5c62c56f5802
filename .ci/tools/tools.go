//go:build tools

// Package tools pins the programs that look through the code for what is unsafe,
// apart from the service's own modules: .ci/security builds them.
package tools

import (
	_ "github.com/securego/gosec/v2/cmd/gosec"
	_ "golang.org/x/vuln/cmd/govulncheck"
	_ "golang.org/x/vulndb/cmd/indexdb"
)
