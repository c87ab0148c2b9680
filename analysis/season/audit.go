package season

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"time"
)

// Audit is what somebody who was not there needs beside the figures: what the
// claim is, where the boundary runs, every meter, how well the balance closes,
// which figures were stated and what each of them moves. reports/CHECKLIST.md
// says which item of a report stands where.
type Audit struct {
	// ReportID is made of what the report rests on: see reportID. Version of the
	// tool that made it.
	ReportID, Version string
	// AskedFrom, AskedTo: the period asked for, Unix ms; 0 = as the record has it.
	AskedFrom, AskedTo int64
	Claim              Claim
	// Outside the boundary, and InteractiveEffects across it, in words.
	Outside, InteractiveEffects []string
	Drawing                     []Stage
	Meters                      []Meter
	Streams                     []StreamAudit
	LeftOut                     []LeftOut
	ClockChanges                []ClockChange
	Weeks                       []BalanceWeek
	// WeeksLoss: the tanks' loss is known and in the weeks; else it is inside
	// what is unexplained.
	WeeksLoss bool
	// WeeksWords says what of the weeks the errors of the sensors explain.
	WeeksWords  string
	Boundaries  []Boundary
	Assumptions []Assumption
	// Tornado: the five assumptions that move the money (where it is known, else
	// the saving) the most, as indices into Assumptions; TornadoOf is "money" or
	// "saved_kwh".
	Tornado   []int
	TornadoOf string
	Prices    []Price
	Static    []Fact
	Events    []EventAudit
}

// Fact is something stated, with its name.
type Fact struct{ Name, Value, Source string }

// kept is what ask leaves for the audit.
type kept struct {
	x *terms
	s *saver
	r *recovery
}

// audit fills in Season.Audit: after the trials, from the same parts as the
// figures. It adds no source and no trial.
func (b *builder) audit() {
	a := &b.s.Audit
	a.Version = b.opt.Version
	a.ReportID = reportID(b.s)
	if !b.opt.From.IsZero() {
		a.AskedFrom = b.opt.From.UnixMilli()
	}
	if !b.opt.To.IsZero() {
		a.AskedTo = b.opt.To.UnixMilli()
	}
	b.leftOut()
	a.ClockChanges = clockChanges(b.acc.Zone, b.acc.FromMS, b.acc.ToMS)
	b.streams()
	b.balanceWeeks()
	b.boundaries()
	b.prices()
	b.assumptions()
	b.claim()
	b.criterion()
	b.drawing()
	b.outside()
	b.static()
	b.auditEvents()
}

// reportID is the same wherever and whenever the report is made, and another
// one as soon as a byte of an original, a setting, the period, the seed or the
// version differs: SHA-256 over these, the first 16 hexadecimal digits in groups of four.
func reportID(s *Season) string {
	h := sha256.New()
	say := func(parts ...any) { fmt.Fprintf(h, "%q\n", fmt.Sprint(parts...)) }
	say("yardheat-report/1 ", s.Audit.Version)
	for _, f := range s.Files {
		say("file ", f.Name, "\x00", f.Sheet, "\x00", f.SHA256)
	}
	for _, f := range s.Own {
		say("own ", f.Name, "\x00", f.SHA256)
	}
	say("period ", s.Period.Start, " ", s.Period.End, " seed ", s.Seed)
	for _, x := range s.Settings {
		say("setting ", x.Key, "\x00", x.Value)
	}
	d := hex.EncodeToString(h.Sum(nil)[:8])
	return d[:4] + "-" + d[4:8] + "-" + d[8:12] + "-" + d[12:]
}

// ClockChange is a change between standard and summer time within the period.
type ClockChange struct {
	At int64
	// ByS is how far the clocks are put on; less than 0: put back, and the hour
	// stands twice.
	ByS int
}

func clockChanges(zone *time.Location, from, to int64) []ClockChange {
	var out []ClockChange
	at := time.UnixMilli(from).In(zone)
	for {
		_, end := at.ZoneBounds()
		if end.IsZero() || end.UnixMilli() >= to {
			return out
		}
		_, before := at.Zone()
		_, after := end.Zone()
		if after != before {
			out = append(out, ClockChange{At: end.UnixMilli(), ByS: after - before})
		}
		at = end
	}
}
