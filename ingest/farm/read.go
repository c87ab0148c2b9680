package farm

import (
	"time"

	"yardheat/ingest/clock"
	"yardheat/ingest/farm/keyed"
	"yardheat/ingest/series"
)

// reader reads the tables of one farm file.
type reader struct{ *keyed.Reader }

// Read reads and checks a farm file. name is how messages call it. All faults
// of one run come back sorted by line; the farm is nil where there are any.
func Read(name string, src []byte) (*Farm, []series.Fault) {
	kr, root := keyed.Open(name, src)
	var f *Farm
	if root != nil {
		f = (&reader{kr}).farm(root)
	}
	if faults := kr.Finish(); len(faults) > 0 {
		return nil, faults
	}
	return f, nil
}

// farm reads the whole file, table by table.
func (r *reader) farm(t *keyed.Tab) *Farm {
	f := &Farm{Zone: time.UTC, StepS: 60}
	r.farmTable(t, f)
	r.heatTables(t, f)
	r.moneyTables(t, f)
	r.dayTables(t, f)
	f.Baseline = r.baseline(t, f.Seasons)
	f.Errors = r.errorsTable(t)
	f.Matched = r.matched(t, f.Zone)
	f.Flags, f.FlagKeys = r.flags(t)
	r.record(t, f)
	for _, l := range t.Tables("log") {
		f.Logs = append(f.Logs, r.log(l))
	}
	tellApart(f.Logs)
	if t.Node.Find("log") == nil && !r.Broken {
		r.Add(0, "log", "nothing", "at least one [[log]] with files = [\"…\"]", "add a [[log]] table for each logger")
	}
	t.Close(nil)
	return f
}

// farmTable reads [farm] first: its zone is needed for every date.
func (r *reader) farmTable(t *keyed.Tab, f *Farm) {
	ft := t.Table("farm")
	if ft == nil {
		if t.Node.Find("farm") == nil && !r.Broken {
			r.Add(0, "farm.timezone", "nothing", "the farm's time zone, such as \"Europe/Rome\"", "add [farm] with timezone = \"…\"")
		}
		return
	}
	ft.Text("name", &f.Name)
	ft.Need("timezone", "the farm's time zone, such as \"Europe/Rome\"")
	if ft.Text("timezone", &f.ZoneName) {
		zone, err := clock.ParseZone(f.ZoneName)
		if err != nil {
			ft.Bad(ft.Node.Find("timezone"), "an IANA zone such as \"Europe/Rome\"", zoneHint(f.ZoneName))
		} else {
			f.Zone = zone
		}
	}
	ft.Close(nil)
}

// record reads [record].
func (r *reader) record(t *keyed.Tab, f *Farm) {
	rt := t.Table("record")
	if rt == nil {
		return
	}
	const want = `a step from "1s" to "24h", or "raw"`
	var step string
	if rt.Text("step", &step) {
		e := rt.Node.Find("step")
		if step == "raw" {
			f.StepS = 0
		} else if s, ok := keyed.DurationS(step); ok && s >= 1 && s <= 86400 {
			f.StepS = s
		} else {
			rt.Bad(e, want, "write for example \"1m\"")
		}
	}
	rt.Close(nil)
}
