package api

// Entity tags: a client that has an answer already is told so. Tags are weak,
// since the same answer may go out compressed or not.

import (
	"encoding/hex"
	"fmt"
	"hash/fnv"
	"strings"

	"github.com/labstack/echo/v4"
)

func hashTag(parts ...any) string {
	h := fnv.New128a()
	for _, p := range parts {
		switch p := p.(type) {
		case []byte:
			_, _ = h.Write(p)
		default:
			fmt.Fprint(h, p)
		}
		_, _ = h.Write([]byte{0})
	}
	return `W/"` + hex.EncodeToString(h.Sum(nil)) + `"`
}

// notModified sets the tag of the answer and says whether the client has it.
func notModified(c echo.Context, tag string) bool {
	c.Response().Header().Set("ETag", tag)
	for _, line := range c.Request().Header.Values("If-None-Match") {
		for _, t := range strings.Split(line, ",") {
			t = strings.TrimSpace(t)
			if t == "*" || strings.TrimPrefix(t, "W/") == strings.TrimPrefix(tag, "W/") {
				return true
			}
		}
	}
	return false
}
