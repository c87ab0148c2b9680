package today

import (
	"cmp"
	"slices"

	"yardheat/ingest/series"
)

// logs: when they end, and which loggers and probes fell silent or look faulty.
func (m *maker) logs() *Line {
	l := &Line{Code: CodeLogs, Says: LogsRun, State: InOrder}
	l.time("end", m.t.To)
	l.Probes = m.doubtful()
	if len(l.Probes) > 0 {
		l.Says, l.State = LogsSilent, LookAt
	}
	if slices.ContainsFunc(m.rec.Problems, func(p series.Problem) bool { return p.Code == series.CodeStampFuture }) {
		l.Says, l.State = LogsAhead, LookAt
	}
	if age := float64(m.t.NowMS-m.t.To) / 3600e3; m.t.NowMS > 0 {
		l.number("age_h", max(0, age), "h", nil)
		if age >= m.opt.StaleH {
			l.Says, l.State = LogsEnd, LookAt
		}
	}
	l.number("probes", float64(len(m.rec.Series)), "1", nil)
	return l
}

// pulse is how a series read in the last weeks.
type pulse struct {
	s *series.Series
	// last kept reading; usual and patient: the median time
	// between kept readings, and that which nearly all kept to, ms.
	last, usual, patient int64
}

// pulseOf looks at the readings from UsualFrom on; false: fewer than three were
// kept, and the probe is one that was given up before.
func (m *maker) pulseOf(s *series.Series) (p pulse, ok bool) {
	p.s = s
	var gaps []int64
	lo, _ := slices.BinarySearch(s.T, m.t.UsualFrom)
	n := 0
	for i := lo; i < len(s.T) && s.T[i] <= m.t.To; i++ {
		if s.Flags.At(i) != 0 {
			continue
		}
		if n++; n > 1 {
			gaps = append(gaps, s.T[i]-p.last)
		}
		p.last = s.T[i]
	}
	if n < 3 {
		return p, false
	}
	slices.Sort(gaps)
	p.usual, p.patient = gaps[len(gaps)/2], gaps[len(gaps)*99/100]
	if s.Kind == series.State || p.patient > 3*p.usual { // it speaks when something happens
		p.patient = gaps[len(gaps)-1]
	}
	return p, true
}

// doubtful lists whole logs that are silent, then probes: the longest silent
// first.
func (m *maker) doubtful() []Probe {
	byLog := map[int][]pulse{}
	logs := []int{}
	for _, s := range m.rec.Series {
		if p, ok := m.pulseOf(s); ok {
			if byLog[s.Log] == nil {
				logs = append(logs, s.Log)
			}
			byLog[s.Log] = append(byLog[s.Log], p)
		}
	}
	var whole, single []Probe
	for _, log := range logs {
		end, patient := int64(0), int64(0)
		for _, p := range byLog[log] {
			end, patient = max(end, p.last), max(patient, p.patient)
		}
		if m.t.To-end > max(int64(m.opt.SilentTimes*float64(patient)), hours(m.opt.LogSilentH)) {
			whole = append(whole, Probe{Name: m.fileOf(log), What: "silent", Last: end, UsualS: float64(byLog[log][0].usual) / 1000})
			continue
		}
		for _, p := range byLog[log] {
			if x, ok := m.doubt(p, end); ok {
				single = append(single, x)
			}
		}
	}
	for _, list := range [][]Probe{whole, single} {
		slices.SortStableFunc(list, func(a, b Probe) int { return cmp.Compare(a.Last, b.Last) })
	}
	return append(whole, single...)
}

// doubt judges one probe of a log that reads to end.
func (m *maker) doubt(p pulse, end int64) (Probe, bool) {
	x := Probe{Name: p.s.Probe, Column: p.s.Column, Quantity: string(p.s.Quantity), Last: p.last, UsualS: float64(p.usual) / 1000}
	all, flat, broken := 0, 0, 0
	lo, _ := slices.BinarySearch(p.s.T, m.t.From)
	for i := lo; i < len(p.s.T) && p.s.T[i] <= m.t.To; i++ {
		f := p.s.Flags.At(i)
		switch {
		case f&series.Absent != 0:
			continue
		case f&(series.Sentinel|series.Range) != 0:
			broken++
		case f&series.Stuck != 0:
			flat++
		}
		all++
	}
	if all >= m.opt.FaultReadings {
		n := float64(all)
		switch {
		case float64(broken) > m.opt.FaultShare*n:
			x.What, x.Share = "fault", float64(broken)/n
		case float64(flat) > m.opt.StuckShare*n:
			x.What, x.Share = "stuck", float64(flat)/n
		}
	}
	if x.What == "" && end-p.last > max(int64(m.opt.SilentTimes*float64(p.patient)), hours(m.opt.ProbeSilentH)) {
		x.What = "silent"
	}
	return x, x.What != ""
}

// fileOf is the last file of a log, by its readings.
func (m *maker) fileOf(log int) string {
	name, last := "", int64(0)
	for _, f := range m.rec.Files {
		if f.Log == log && (name == "" || f.Last > last) {
			name, last = f.Name, f.Last
		}
	}
	return name
}
