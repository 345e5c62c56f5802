package sheet

// The upkeep calendar: as a table, and as an iCalendar file (RFC 5545).

import (
	"bytes"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/parcels"
)

// near says whether a point obstacle lies within a distance of a line.
func near(o *parcels.Obstacle, l orb.LineString, within unit.Length) bool {
	p, ok := o.Geometry.(orb.Point)
	if !ok {
		return false
	}
	d, _ := shape.PointLine(p, l)
	return d <= within
}

// chore is a piece of upkeep (P-168).
type chore struct {
	id, what, said, how string
	months              []time.Month // of each year; none: every so many years
	every               int          // years
}

// upkeep gives the chores that the plan's own parts ask for.
func upkeep(p *parcels.Plan) []chore {
	has := func(part string) (out []string) {
		for _, pt := range p.Points {
			for _, f := range pt.Fittings {
				if strings.Contains(f, part) {
					out = append(out, pt.ID)
					break
				}
			}
		}
		return out
	}
	var out []chore
	if g := has("grate"); len(g) > 0 {
		out = append(out,
			chore{id: "grates", what: "Clear the grates: " + strings.Join(g, ", "), said: "monthly in leaf season (Sep to Dec), and after big storms", how: "Lift leaves off, lift the grate, take out what lies in it.", months: []time.Month{9, 10, 11, 12}},
			chore{id: "basins", what: "Empty the basins", said: "spring and autumn", how: "Scoop the sump out before it reaches the pipe.", months: []time.Month{4, 11}})
	}
	if g := has("downspout adapter"); len(g) > 0 {
		out = append(out, chore{id: "gutters", what: "Clean gutters and downspout strainers: " + strings.Join(g, ", "), said: "spring and late autumn", how: "Roof grit belongs in the bin, not in the pipe.", months: []time.Month{5, 12}})
	}
	if g := has("cleanout"); len(g) > 0 {
		out = append(out, chore{id: "cleanouts", what: "Open the cleanouts and run a hose", said: "once a year, in spring", how: "Water must come out clear at the outlet: " + strings.Join(g, ", ") + ".", months: []time.Month{3}})
	}
	out = append(out,
		chore{id: "outlet", what: "Look at the outlet in a storm: " + p.Summary.Outlet, said: "twice a year", how: "From the ground only; never open or enter a storm structure.", months: []time.Month{4, 10}},
		chore{id: "jetting", what: "Have the line jetted", said: "every 4 years", how: "From a cleanout down to the outlet, by a contractor.", every: 4})
	return out
}

// Calendar is the upkeep calendar from a day on, as an .ics file with all-day
// events that come again. The same plan and day give the same bytes.
func Calendar(p *parcels.Plan, from time.Time) []byte {
	var b bytes.Buffer
	put := func(s string) { // folded at 75 octets
		for len(s) > 74 {
			n := 74
			for n > 0 && !utf8.RuneStart(s[n]) {
				n--
			}
			b.WriteString(s[:n] + "\r\n ")
			s = s[n:]
		}
		b.WriteString(s + "\r\n")
	}
	text := strings.NewReplacer("\\", "\\\\", ";", "\\;", ",", "\\,", "\n", "\\n", "\r", "")
	put("BEGIN:VCALENDAR")
	put("VERSION:2.0")
	put("PRODID:-//fallwright//upkeep//EN")
	for _, c := range upkeep(p) {
		months := c.months
		rule := "RRULE:FREQ=YEARLY"
		if len(months) == 0 {
			months = []time.Month{from.Month()}
			rule = fmt.Sprintf("RRULE:FREQ=YEARLY;INTERVAL=%d", c.every)
		}
		for _, m := range months {
			year := from.Year() + max(c.every, 0)
			day := time.Date(year, m, 1, 0, 0, 0, 0, time.UTC)
			if c.every == 0 && day.Before(from) {
				day = day.AddDate(1, 0, 0)
			}
			put("BEGIN:VEVENT")
			put("UID:" + text.Replace(fmt.Sprintf("%s-%02d-%s-%s@fallwright", c.id, int(m), strings.ReplaceAll(p.Site, " ", "-"), strings.Join(p.Summary.Lots, "-"))))
			put("DTSTAMP:" + from.UTC().Format("20060102T000000Z"))
			put("DTSTART;VALUE=DATE:" + day.Format("20060102"))
			put(rule)
			put("SUMMARY:" + text.Replace(c.what))
			put("DESCRIPTION:" + text.Replace(c.how+" ("+siteName(p.Site)+", "+lots(p.Summary.Lots)+")"))
			put("TRANSP:TRANSPARENT")
			put("END:VEVENT")
		}
	}
	put("END:VCALENDAR")
	return b.Bytes()
}
