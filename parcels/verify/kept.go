package verify

// Site documents that were read before, kept by their text: a service judges many
// plans of one site. Nothing of a plan is kept; of the ground, what it is along the
// lines and at the places that were asked for.

import (
	sequence "container/list"
	"crypto/sha256"
	"slices"
	"sync"
)

// Kept holds site documents as the checker has read them, up to a number of
// bytes of text, those used last; layers and ground that several have in common
// are kept once. It may be used by several goroutines at once.
type Kept struct {
	most int64

	mu    sync.Mutex
	held  int64
	rows  map[[sha256.Size]byte]*sequence.Element // of *keptRow
	order *sequence.List                          // used last in front
}

type keptRow struct {
	key   [sha256.Size]byte
	bytes int64
	site  *site // in its plane, with its ground; nobody writes to it
}

// Keep makes a Kept for documents of that many bytes of text in all; what is kept
// takes some ten times as many.
func Keep(bytes int64) *Kept {
	return &Kept{most: bytes, rows: map[[sha256.Size]byte]*sequence.Element{}, order: sequence.New()}
}

// find gives a copy of the site of a document for one judge, nil where there is
// none.
func (k *Kept) find(key [sha256.Size]byte) *site {
	k.mu.Lock()
	defer k.mu.Unlock()
	e, ok := k.rows[key]
	if !ok {
		return nil
	}
	k.order.MoveToFront(e)
	return e.Value.(*keptRow).site.copied()
}

// latest gives the sites used last: a document that is worked on differs little
// from one of them. Nobody may write to them.
func (k *Kept) latest() []*site {
	if k == nil {
		return nil
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	var out []*site
	for e := k.order.Front(); e != nil && len(out) < 4; e = e.Next() {
		out = append(out, e.Value.(*keptRow).site)
	}
	return out
}

func (k *Kept) put(key [sha256.Size]byte, bytes int64, s *site) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if bytes > k.most {
		return
	}
	if e, ok := k.rows[key]; ok { // read again for another plane
		k.held -= e.Value.(*keptRow).bytes
		k.order.Remove(e)
	}
	k.rows[key] = k.order.PushFront(&keptRow{key, bytes, s})
	for k.held += bytes; k.held > k.most; {
		last := k.order.Back()
		r := last.Value.(*keptRow)
		k.held -= r.bytes
		delete(k.rows, r.key)
		k.order.Remove(last)
	}
}

// copied is s with all of its own that a judge writes to: the criteria's part in
// the obstacles.
func (s *site) copied() *site {
	c := *s
	c.obstacles = slices.Clone(s.obstacles)
	return &c
}

// readFor gives the site of a document in the plane that frame sets on it; ok
// false says that frame refused.
func (k *Kept) readFor(document []byte, frame func(*site) (ok bool)) (s *site, ok bool, err error) {
	var key [sha256.Size]byte
	if k != nil {
		key = sha256.Sum256(document)
		if s = k.find(key); s != nil {
			was := *s.plane
			if !frame(s) {
				return s, false, nil
			}
			if *s.plane == was {
				return s, true, nil
			}
			s = nil
		}
	}
	before := k.latest()
	if s, err = readSite(document, before...); err != nil {
		return nil, false, err
	}
	if !frame(s) {
		return s, false, nil
	}
	if err := s.read(before...); err != nil {
		return nil, false, err
	}
	if len(s.shots) >= 3 {
		same := slices.IndexFunc(before, func(o *site) bool {
			return o.ground != nil && slices.Equal(o.shots, s.shots) && slices.Equal(o.breaks, s.breaks)
		})
		if same >= 0 {
			s.ground = before[same].ground
		} else {
			s.ground = newSurface(s)
			if k != nil {
				s.ground.asked = &asked{lines: map[[4]float64][]station{}, spots: map[[2]float64]level{}}
			}
		}
	}
	if k != nil {
		k.put(key, int64(len(document)), s.copied())
	}
	return s, true, nil
}
