package sheet

// The part of a TrueType font that a drawing uses, to be embedded in it.
//
// The tables are those of the OpenType specification: the glyphs used and those they
// are made of are numbered anew; hints, kerning and layout are left out, since text
// is set by advances alone; the name table, which holds the licence, is kept whole.

import (
	"encoding/binary"
	"fmt"
	"slices"
)

var be = binary.BigEndian

// subset gives the font with the characters of used only. Characters that the font
// lacks are left out.
func subset(ttf []byte, used []rune) ([]byte, error) {
	tables, err := tablesOf(ttf)
	if err != nil {
		return nil, err
	}
	for _, t := range []string{"head", "hhea", "maxp", "cmap", "loca", "glyf", "hmtx", "OS/2", "name"} {
		if len(tables[t]) == 0 {
			return nil, fmt.Errorf("sheet: the font has no table %s", t)
		}
	}
	gid, err := characters(tables["cmap"])
	if err != nil {
		return nil, err
	}
	glyph := func(g int) []byte {
		loca := tables["loca"]
		if be.Uint16(tables["head"][50:]) == 0 {
			return tables["glyf"][2*int(be.Uint16(loca[2*g:])) : 2*int(be.Uint16(loca[2*g+2:]))]
		}
		return tables["glyf"][be.Uint32(loca[4*g:]):be.Uint32(loca[4*g+4:])]
	}
	// the glyphs, and what they are made of
	number := map[int]int{0: 0}
	order := []int{0}
	take := func(g int) {
		if _, ok := number[g]; !ok {
			number[g] = len(order)
			order = append(order, g)
		}
	}
	runes := slices.Compact(slices.Sorted(slices.Values(used)))
	runes = slices.DeleteFunc(runes, func(r rune) bool { return gid[r] == 0 || r > 0xfffe })
	for _, r := range runes {
		take(gid[r])
	}
	for i := 0; i < len(order); i++ {
		parts(glyph(order[i]), func(at []byte) { take(int(be.Uint16(at))) })
	}
	var glyf, loca, hmtx []byte
	metrics := int(be.Uint16(tables["hhea"][34:]))
	for _, g := range order {
		loca = be.AppendUint32(loca, uint32(len(glyf)))
		data := slices.Clone(glyph(g))
		parts(data, func(at []byte) { be.PutUint16(at, uint16(number[int(be.Uint16(at))])) })
		glyf = append(glyf, data...)
		for len(glyf)%4 != 0 {
			glyf = append(glyf, 0)
		}
		h := tables["hmtx"]
		bearing := h[4*min(g, metrics-1)+2:]
		if g >= metrics {
			bearing = h[4*metrics+2*(g-metrics):]
		}
		hmtx = append(append(hmtx, h[4*min(g, metrics-1):4*min(g, metrics-1)+2]...), bearing[:2]...)
	}
	loca = be.AppendUint32(loca, uint32(len(glyf)))
	head, hhea, maxp := slices.Clone(tables["head"]), slices.Clone(tables["hhea"]), slices.Clone(tables["maxp"])
	be.PutUint32(head[8:], 0)  // the sum of all, put in at the end
	be.PutUint16(head[50:], 1) // long offsets
	be.PutUint16(hhea[34:], uint16(len(order)))
	be.PutUint16(maxp[4:], uint16(len(order)))
	post := make([]byte, 32) // version 3: no names of glyphs
	be.PutUint32(post, 0x00030000)
	return assembled(map[string][]byte{"head": head, "hhea": hhea, "maxp": maxp, "cmap": cmapOf(runes, gid, number), "loca": loca, "glyf": glyf, "hmtx": hmtx, "post": post, "OS/2": tables["OS/2"], "name": tables["name"]}), nil
}

// tablesOf splits a font into its tables.
func tablesOf(ttf []byte) (map[string][]byte, error) {
	out := map[string][]byte{}
	if len(ttf) < 12 || be.Uint32(ttf) != 0x00010000 {
		return nil, fmt.Errorf("sheet: no TrueType font")
	}
	for i := range int(be.Uint16(ttf[4:])) {
		at := 12 + 16*i
		if at+16 > len(ttf) {
			return nil, fmt.Errorf("sheet: the font ends early")
		}
		from, size := int(be.Uint32(ttf[at+8:])), int(be.Uint32(ttf[at+12:]))
		if from+size > len(ttf) {
			return nil, fmt.Errorf("sheet: the font ends early")
		}
		out[string(ttf[at:at+4])] = ttf[from : from+size]
	}
	return out, nil
}

// characters reads the map from characters to glyphs (format 4, the basic plane).
func characters(cmap []byte) (map[rune]int, error) {
	for i := range int(be.Uint16(cmap[2:])) {
		rec := cmap[4+8*i:]
		t := cmap[be.Uint32(rec[4:]):]
		if be.Uint16(rec) != 3 || be.Uint16(rec[2:]) != 1 || be.Uint16(t) != 4 {
			continue
		}
		n := int(be.Uint16(t[6:]) / 2)
		end, start, delta, offset := t[14:], t[16+2*n:], t[16+4*n:], t[16+6*n:]
		out := map[rune]int{}
		for s := range n {
			for c := int(be.Uint16(start[2*s:])); c <= int(be.Uint16(end[2*s:])) && c < 0xffff; c++ {
				g, o := c, int(be.Uint16(offset[2*s:]))
				if o != 0 {
					if g = int(be.Uint16(offset[2*s+o+2*(c-int(be.Uint16(start[2*s:]))):])); g == 0 {
						continue
					}
				}
				out[rune(c)] = (g + int(be.Uint16(delta[2*s:]))) & 0xffff
			}
		}
		return out, nil
	}
	return nil, fmt.Errorf("sheet: the font has no map of the basic plane")
}

// parts visits the numbers of the glyphs that a glyph is made of, where they stand.
func parts(glyph []byte, visit func(at []byte)) {
	if len(glyph) < 10 || int16(be.Uint16(glyph)) >= 0 {
		return
	}
	for p := 10; ; {
		flags := be.Uint16(glyph[p:])
		visit(glyph[p+2:])
		p += 6
		if flags&1 != 0 { // its place in words
			p += 2
		}
		switch {
		case flags&8 != 0: // one scale
			p += 2
		case flags&0x40 != 0: // two
			p += 4
		case flags&0x80 != 0: // a matrix
			p += 8
		}
		if flags&0x20 == 0 { // no more
			return
		}
	}
}

// cmapOf writes the map of the characters, a segment each (format 4).
func cmapOf(runes []rune, gid map[rune]int, number map[int]int) []byte {
	n := len(runes) + 1
	var ends, starts, deltas []byte
	for _, r := range runes {
		ends, starts = be.AppendUint16(ends, uint16(r)), be.AppendUint16(starts, uint16(r))
		deltas = be.AppendUint16(deltas, uint16(number[gid[r]]-int(r)))
	}
	ends, starts, deltas = be.AppendUint16(ends, 0xffff), be.AppendUint16(starts, 0xffff), be.AppendUint16(deltas, 1)
	power, log := 1, 0
	for power*2 <= n {
		power, log = power*2, log+1
	}
	var out []byte
	for _, v := range []int{0, 1, 3, 1, 0, 12, // one table, of Windows, Unicode, at 12
		4, 16 + 8*n, 0, 2 * n, 2 * power, log, 2 * (n - power)} {
		out = be.AppendUint16(out, uint16(v))
	}
	out = append(append(out, ends...), 0, 0)
	out = append(append(out, starts...), deltas...)
	return append(out, make([]byte, 2*n)...)
}

// assembled puts tables together into a font.
func assembled(tables map[string][]byte) []byte {
	var names []string
	for n := range tables {
		names = append(names, n)
	}
	slices.Sort(names)
	power, log := 1, 0
	for power*2 <= len(names) {
		power, log = power*2, log+1
	}
	out := be.AppendUint32(nil, 0x00010000)
	for _, v := range []int{len(names), 16 * power, log, 16 * (len(names) - power)} {
		out = be.AppendUint16(out, uint16(v))
	}
	at, head := 12+16*len(names), 0
	var body []byte
	for _, n := range names {
		t := tables[n]
		if n == "head" {
			head = at + len(body)
		}
		out = append(out, n...)
		out = be.AppendUint32(out, sum(t))
		out = be.AppendUint32(out, uint32(at+len(body)))
		out = be.AppendUint32(out, uint32(len(t)))
		body = append(body, t...)
		for len(body)%4 != 0 {
			body = append(body, 0)
		}
	}
	out = append(out, body...)
	be.PutUint32(out[head+8:], 0xb1b0afba-sum(out))
	return out
}

// sum is the check sum of a table.
func sum(t []byte) (s uint32) {
	for ; len(t) >= 4; t = t[4:] {
		s += be.Uint32(t)
	}
	if len(t) > 0 {
		var last [4]byte
		copy(last[:], t)
		s += be.Uint32(last[:])
	}
	return s
}
