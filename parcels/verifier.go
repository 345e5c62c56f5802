package parcels

// The gate that every plan passes before anyone sees it.

// Verifier judges the very bytes of a plan against the very bytes of the site
// document it was made from, under the resolved criteria, with code and
// arithmetic of its own. An error means that it could not judge; a plan that it
// judges wrong comes back with Passed false.
type Verifier interface {
	Verify(site []byte, criteria Criteria, plan []byte) (Verification, error)
}
