package auditor

// Rows on disk, so that an audit takes no more memory the more lots it has.

import (
	"encoding/binary"
	"fmt"
	"os"
	"sync/atomic"

	"fallwright/geo/frame"
	"fallwright/parcels"
)

// spool keeps a record a lot in a file without a name; of each only its place
// is in memory. Records are put by several goroutines, then read by one.
type spool struct {
	file *os.File
	end  atomic.Int64
	at   []int64
	size []int32

	held int // the record in buf, -1: none
	buf  []byte
}

func newSpool(n int) (*spool, error) {
	f, err := os.CreateTemp("", "fallwright-audit-*")
	if err != nil {
		return nil, &parcels.Error{Kind: parcels.Failed, Op: "auditor: rows", Err: err}
	}
	os.Remove(f.Name()) // gone with the process, however it ends
	return &spool{file: f, at: make([]int64, n), size: make([]int32, n), held: -1}, nil
}

// record is a row as it is kept: the length of each text, then the texts.
func record(b []byte, f *frame.Frame, r *parcels.AuditRow) ([]byte, error) {
	start := len(b)
	b = append(b, make([]byte, 4*sections)...)
	from := len(b)
	for s := range sections {
		var err error
		if b, err = appendText(b, f, r, section(s)); err != nil {
			return nil, err
		}
		binary.LittleEndian.PutUint32(b[start+4*s:], uint32(len(b)-from))
		from = len(b)
	}
	return b, nil
}

// cut is one text of a record.
func cut(rec []byte, s section) ([]byte, error) {
	from := 4 * sections
	for k := range sections {
		if len(rec) < 4*sections {
			break
		}
		to := from + int(binary.LittleEndian.Uint32(rec[4*k:]))
		if to > len(rec) {
			break
		}
		if section(k) == s {
			return rec[from:to], nil
		}
		from = to
	}
	return nil, fmt.Errorf("auditor: a record of %d bytes is broken", len(rec))
}

func (s *spool) put(i int, rec []byte) error {
	at := s.end.Add(int64(len(rec))) - int64(len(rec))
	s.at[i], s.size[i] = at, int32(len(rec))
	if _, err := s.file.WriteAt(rec, at); err != nil {
		return &parcels.Error{Kind: parcels.Failed, Op: "auditor: rows", Err: err}
	}
	return nil
}

func (s *spool) count() int { return len(s.at) }

func (s *spool) text(i int, k section) ([]byte, error) {
	if s.held != i {
		n := int(s.size[i])
		if cap(s.buf) < n {
			s.buf = make([]byte, 2*n)
		}
		s.buf, s.held = s.buf[:n], i
		if _, err := s.file.ReadAt(s.buf, s.at[i]); err != nil {
			s.held = -1
			return nil, &parcels.Error{Kind: parcels.Failed, Op: "auditor: rows", Err: err}
		}
	}
	return cut(s.buf, k)
}

func (s *spool) close() error { return s.file.Close() }
