// The command bundle makes the page's script from its TypeScript sources:
// ../source/main.ts with all that it imports into one file. It is a module of
// its own so that the program does not depend on a bundler.
//
// usage: go run . FILE
package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/evanw/esbuild/pkg/api"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: go run . FILE")
		os.Exit(2)
	}
	source, err := filepath.Abs("../source")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	// the same bytes on every machine: nothing of the place or the time is in them
	out := api.Build(api.BuildOptions{
		EntryPoints: []string{"main.ts"}, AbsWorkingDir: source, Bundle: true, Format: api.FormatESModule, Target: api.ES2022,
		MinifyWhitespace: true, MinifyIdentifiers: true, MinifySyntax: true, Charset: api.CharsetUTF8, LegalComments: api.LegalCommentsNone,
		TsconfigRaw: `{"compilerOptions":{"strict":true}}`, LogLevel: api.LogLevelInfo,
	})
	if len(out.Errors) > 0 {
		os.Exit(1)
	}
	text := append([]byte("// Made from ../source by `make page`; do not edit.\n"), out.OutputFiles[0].Contents...)
	if err := os.WriteFile(os.Args[1], text, 0o644); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}
