// Package jobs runs long work over many items: in chunks that lie together on
// the ground, by several workers, with progress, pause, resume and cancel. One
// item that fails is set aside with its error and the rest goes on.
//
// The work comes in as a function; this room knows nothing of audits. Results
// go out in the order of the items, whatever the workers and the size of the
// chunks, so that the same work gives the same bytes. In process: Run. On
// several machines over one PostgreSQL: Queue.
//
// Order gives the order along a Hilbert curve (D. Hilbert 1891; the curve's
// quadrants worked from memory, held by tests).
//
// It may import parcels; lib/pq and River (the queue) for Queue alone.
package jobs
