package source_test

import (
	"fmt"

	"fallwright/hydro/source"
)

func ExampleLookup() {
	s, ok := source.Lookup(source.TR55)
	fmt.Println(ok, s.Provenance)
	fmt.Println(s.Document)
	// Output:
	// true read
	// USDA NRCS, Urban Hydrology for Small Watersheds, TR-55, 2nd edition, June 1986
}
