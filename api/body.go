package api

// The body of a request: media type, size, compression, text. It is refused as
// soon as a limit is passed; nothing more of it is read.

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"fallwright/parcels"
	"fallwright/parcels/document"
)

// mediaType checks the Content-Type against those the operation takes.
func (s *service) mediaType(c echo.Context, operation string) (string, error) {
	taken := s.media[operation]
	got := c.Request().Header.Get("Content-Type")
	media, params, err := mime.ParseMediaType(got)
	if err == nil {
		if charset := params["charset"]; charset != "" && !strings.EqualFold(charset, "utf-8") {
			return "", refuse("media-type", "The text must be UTF-8, not %s.", parcels.Excerpt(charset))
		}
		if slices.Contains(taken, media) {
			return media, nil
		}
	}
	list := slices.Clone(taken)
	slices.Sort(list)
	if got == "" {
		return "", refuse("media-type", "The Content-Type is missing. %s is taken.", strings.Join(list, ", "))
	}
	return "", refuse("media-type", "The Content-Type %s is not taken. %s is.", parcels.Excerpt(got), strings.Join(list, ", "))
}

// ratioFrom is how much a compressed body may unpack to before its ratio is
// looked at, and mostRatio the ratio.
const (
	ratioFrom = 1 << 20
	mostRatio = 100
	doubtUpTo = 24 << 20 // what may be unpacked past the ratio to tell what it is
)

type counter struct {
	r io.Reader
	n int64
}

func (c *counter) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n += int64(n)
	return n, err
}

// readBody reads the body, unpacked.
func (s *service) readBody(c echo.Context) ([]byte, error) {
	limit := s.limits.BodyBytes
	r := c.Request()
	tooLarge := func(actual any) error {
		c.Response().Header().Set("Connection", "close")
		return refuse("body-too-large", "The body is larger than %d bytes.", limit).at(parcels.Fault{Limit: limit, Actual: actual})
	}
	if r.ContentLength > limit {
		return nil, tooLarge(r.ContentLength)
	}
	raw := &counter{r: http.MaxBytesReader(c.Response(), r.Body, limit)}
	var in io.Reader = raw
	packed := false
	switch enc := strings.ToLower(strings.TrimSpace(r.Header.Get("Content-Encoding"))); enc {
	case "", "identity":
	case "gzip":
		packed = true
		z, err := gzip.NewReader(raw)
		if err != nil {
			return nil, refuse("unreadable", "The body is not gzip, as its Content-Encoding says.")
		}
		in = z
	default:
		return nil, refuse("media-type", "The Content-Encoding %s is not taken. gzip is.", parcels.Excerpt(enc))
	}
	var chunks [][]byte // not one growing buffer, which would hold its double
	var size int64
	doubtful := false
	ratio := func() error {
		c.Response().Header().Set("Connection", "close")
		return refuse("body-too-large", "The body unpacks to more than %d times its size.", mostRatio).at(parcels.Fault{Limit: mostRatio, Actual: size / max(raw.n, 1)})
	}
	for {
		room := int64(256 << 10)
		if !packed && r.ContentLength > 0 { // as long as it says, which costs little where it is not sent
			room = min(4*room, max(r.ContentLength-size, 0)+1)
		}
		chunk := make([]byte, room)
		n, err := io.ReadFull(in, chunk)
		if n > 0 || len(chunks) == 0 {
			chunks = append(chunks, chunk[:n])
		}
		if size += int64(n); size > limit {
			return nil, tooLarge(nil)
		}
		if packed && size > ratioFrom && size > mostRatio*max(raw.n, 1) {
			if doubtful = true; size > doubtUpTo {
				return nil, ratio()
			}
		}
		if err == io.EOF || err == io.ErrUnexpectedEOF && ended(in) {
			break
		}
		if err != nil {
			var big *http.MaxBytesError
			if errors.As(err, &big) {
				return nil, tooLarge(nil)
			}
			if r.Context().Err() != nil {
				return nil, r.Context().Err()
			}
			return nil, refuse("unreadable", "The body ends early or is no %s.", map[bool]string{true: "gzip", false: "complete body"}[packed])
		}
	}
	body := chunks[0]
	if len(chunks) > 1 {
		body = bytes.Join(chunks, nil)
	}
	if doubtful && positions(body) <= document.MostVertices {
		return nil, ratio()
	}
	return body, nil
}

// ended says whether a reader that gave less than was asked is at its end; a
// compressed text that was cut is not.
func ended(in io.Reader) bool {
	n, err := in.Read(make([]byte, 1))
	return n == 0 && err == io.EOF
}

// positions counts the positions of a GeoJSON text: brackets that a number
// follows. A body that packs too well is one of two things: a bomb, or a
// feature with too many vertices, which is to be told by name.
func positions(text []byte) (n int) {
	for i := 0; i+1 < len(text); i++ {
		if c := text[i+1]; text[i] == '[' && (c == '-' || c >= '0' && c <= '9') {
			n++
		}
	}
	return n
}

// A part is a member of an object, as its text and where that stands.
type part struct {
	text   json.RawMessage
	offset int64
	cut    document.Cut // the text, with what a scan has seen of it
}

// members splits a JSON object into its members. Values are not looked into:
// the text must have passed document.Scan. base is the offset of text in the
// body, pointer its place.
func members(text []byte, base int64, pointer string) (map[string]part, error) {
	return membersOf(document.Cut{Text: text}, base, pointer)
}

// membersOf is members of text that was scanned by document.ScanWith.
func membersOf(c document.Cut, base int64, pointer string) (map[string]part, error) {
	c, blank := c.Trimmed()
	if len(c.Text) == 0 || c.Text[0] != '{' {
		return nil, refuse("invalid-input", "%s is no JSON object.", place(pointer)).at(parcels.Fault{Pointer: pointer})
	}
	base += int64(blank)
	out := map[string]part{}
	c.Members(func(key string, value document.Cut, at int) {
		out[key] = part{value.Text, base + int64(at), value}
	})
	return out, nil
}

func place(pointer string) string {
	if pointer == "" {
		return "The body"
	}
	return pointer
}

func escape(key string) string {
	return strings.NewReplacer("~", "~0", "/", "~1").Replace(key)
}

// lineColumn counts from 1, in bytes.
func lineColumn(body []byte, offset int64) (line, column int) {
	head := body[:min(max(offset, 0), int64(len(body)))]
	return bytes.Count(head, []byte("\n")) + 1, len(head) - (bytes.LastIndexByte(head, '\n') + 1) + 1
}

// relocate makes the places of an input's faults places of the body it came
// in: parts are the inputs by name, with their offsets.
func relocate(err error, body []byte, parts map[string]part, prefix string) error {
	var in *parcels.InputError
	if !errors.As(err, &in) {
		return err
	}
	name := in.File
	if name == "" {
		name = "site"
	}
	p, ok := parts[name]
	if !ok {
		return err
	}
	out := &parcels.InputError{Kind: in.Kind, Faults: slices.Clone(in.Faults)}
	for i := range out.Faults {
		f := &out.Faults[i]
		f.Pointer = prefix + "/" + escape(name) + f.Pointer
		if f.Offset != nil {
			at := *f.Offset + p.offset
			f.Offset = &at
			line, column := lineColumn(body, at)
			f.Line, f.Column = &line, &column
		}
	}
	return out
}

// decodeStrings reads a list of texts; numbers count as their text.
func decodeStrings(raw json.RawMessage) ([]string, error) {
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.UseNumber()
	var list []any
	if err := dec.Decode(&list); err != nil {
		return nil, fmt.Errorf("not a list")
	}
	out := make([]string, len(list))
	for i, v := range list {
		switch v := v.(type) {
		case string:
			out[i] = v
		case json.Number:
			out[i] = v.String()
		default:
			return nil, fmt.Errorf("entry %d is neither text nor number", i)
		}
	}
	return out, nil
}
