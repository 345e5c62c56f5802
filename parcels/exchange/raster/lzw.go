package raster

// LZW as TIFF writes it: codes from the high bit on, 9 to 12 bits wide, the
// width grown one code early, strings from a cleared table (TIFF 6.0, section
// 13).

import "errors"

func unLZW(raw []byte, want int) ([]byte, error) {
	const clearCode, endCode, first, last = 256, 257, 258, 4095
	out := make([]byte, 0, want)
	var prefix [last + 1]uint16 // the code before
	var suffix [last + 1]byte
	var length [last + 1]int
	for i := 0; i < 256; i++ {
		suffix[i], length[i] = byte(i), 1
	}
	next, width, before := first, 9, -1
	var bits uint32
	have := 0
	for {
		for have < width {
			if len(raw) == 0 {
				if len(out) == want {
					return out, nil // some writers leave the end code out
				}
				return nil, errors.New("LZW data end early")
			}
			bits = bits<<8 | uint32(raw[0])
			raw = raw[1:]
			have += 8
		}
		have -= width
		code := int(bits>>have) & (1<<width - 1)
		switch {
		case code == endCode:
			return out, nil
		case code == clearCode:
			next, width, before = first, 9, -1
			continue
		case before < 0:
			if code > 255 {
				return nil, errors.New("LZW string before its table")
			}
		case code > next || code == next && next > last:
			return nil, errors.New("LZW code out of the table")
		default:
			if next > last {
				return nil, errors.New("LZW table runs over")
			}
			// the new string: the one before, and the first byte of this one
			head := code
			if code == next {
				head = before
			}
			for length[head] > 1 {
				head = int(prefix[head])
			}
			prefix[next], suffix[next], length[next] = uint16(before), suffix[head], length[before]+1
			next++
		}
		n := length[code]
		if len(out)+n > want {
			return nil, errors.New("LZW data hold more than their size")
		}
		out = out[:len(out)+n]
		for at, c := len(out)-1, code; n > 0; n-- {
			out[at] = suffix[c]
			c = int(prefix[c])
			at--
		}
		before = code
		if next >= 1<<width-1 && width < 12 {
			width++
		}
	}
}
