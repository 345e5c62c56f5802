package main

// What the service answers while a point is dragged: every request brings a
// document that differs from the last one in the place of one intake.

import (
	"bytes"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"slices"
	"strconv"
	"syscall"
	"testing"

	"fallwright/api"
	"fallwright/sampledata"
)

// dragged are the parts of the sample's document before and after the easting of
// a basin on its sample lot, and that easting.
func dragged(b *testing.B) (head, tail []byte, x float64) {
	b.Helper()
	text := sampledata.StatePlane()
	at := bytes.Index(text, []byte(`"id":"`+sampledata.Sample+`-YB1"`))
	const member = `"coordinates":[`
	if at < 0 {
		b.Fatal("the sample has no basin to drag")
	}
	from := at + bytes.Index(text[at:], []byte(member)) + len(member)
	to := from + bytes.IndexByte(text[from:], ',')
	x, err := strconv.ParseFloat(string(text[from:to]), 64)
	if err != nil {
		b.Fatal(err)
	}
	return text[:from], text[to:], x
}

// BenchmarkDragged takes requests in turn, with the service's memory; cpu-ms is
// processor time an answer, the collector's included.
func BenchmarkDragged(b *testing.B) {
	head, tail, x := dragged(b)
	for _, k := range []struct{ name, process, options string }{
		{"check", "check", ""}, {"quick", "plan", `,"options":{"quick":true}`}, {"plan", "plan", ""},
	} {
		b.Run(k.name, func(b *testing.B) {
			held := engine{}.remembering()
			s, err := api.New(api.Options{Engine: held, Memory: held.memory, Log: slog.New(slog.DiscardHandler)})
			if err != nil {
				b.Fatal(err)
			}
			n := 0
			ask := func() {
				n++
				body := slices.Concat([]byte(`{"inputs":{"site":`), head, strconv.AppendFloat(nil, x+float64(n%997)/500, 'f', 4, 64), tail, []byte(`,"lots":["`+sampledata.Sample+`"]`+k.options+`}}`))
				r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1/processes/"+k.process+"/execution", bytes.NewReader(body))
				r.Header.Set("Content-Type", "application/json")
				w := httptest.NewRecorder()
				s.ServeHTTP(w, r)
				if w.Code != http.StatusOK {
					b.Fatalf("%d %.300s", w.Code, w.Body)
				}
			}
			ask()
			was := processor(b)
			for b.Loop() {
				ask()
			}
			b.ReportMetric((processor(b)-was)*1000/float64(b.N), "cpu-ms/op")
		})
	}
}

// processor is the time that this process has had a processor, in seconds.
func processor(b *testing.B) float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return float64(u.Utime.Sec+u.Stime.Sec) + float64(u.Utime.Usec+u.Stime.Usec)/1e6
}
