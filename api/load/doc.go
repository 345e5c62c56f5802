// Package load holds the trial of the service under load, tests only: a service
// in a process of its own, its clients in another, and beside it, in a third, a
// bare handler that sends the same bytes. It may import sampledata and the
// libraries of api.
package load
