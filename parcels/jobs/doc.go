// Package jobs runs long work over many items: in chunks that lie together on
// the ground, by several workers, with progress, pause, resume and cancel. One
// item that fails is set aside with its error and the rest goes on.
//
// The work comes in as a function; this room knows nothing of audits. Results
// go out in the order of the items, whatever the workers and the size of the
// chunks, so that the same work gives the same bytes. In process: Run. On
// several machines over PostgreSQL: Queue (queue.go).
//
// Order gives the order along a Hilbert curve (D. Hilbert 1891; the bit
// manipulation after J. Skilling, "Programming the Hilbert curve", AIP Conf.
// Proc. 707, 2004, from memory, held by tests).
//
// It may import parcels.
package jobs
