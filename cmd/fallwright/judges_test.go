package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// Tests that need another program (a browser, a database server, GDAL, the PDF
// tools) skip where it is not installed. `make test` installs them all, so in CI
// a missing one is a failure, here, for all of those tests at once.
func TestJudgesAreInstalled(t *testing.T) {
	missing := t.Logf
	if os.Getenv("CI") != "" {
		missing = t.Errorf
	}
	for _, p := range []string{"chromium", "ogrinfo", "gdaldem", "gdalinfo", "gdal_translate", "pdftotext", "pdftoppm", "sqlite3", "curl", "fc-scan", "python3"} {
		if _, err := exec.LookPath(p); err != nil {
			missing("%s is not installed: tests that need it skip", p)
		}
	}
	if exec.Command("/usr/bin/python3", "-c", "import owslib").Run() != nil {
		missing("OWSLib is not installed: the test that reads the service by it skips")
	}
	if found, _ := filepath.Glob("/usr/lib/postgresql/*/bin/initdb"); len(found) == 0 {
		missing("PostgreSQL is not installed: tests of the PostGIS store and the queue skip")
	}
	if found, _ := filepath.Glob("/usr/share/postgresql/*/extension/postgis.control"); len(found) == 0 {
		missing("PostGIS is not installed: tests of the PostGIS store skip")
	}
}
