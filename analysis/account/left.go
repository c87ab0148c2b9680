package account

import (
	"math"

	"yardheat/analysis/cycle"
)

// LeftRow is, for one cycle, the time in which the compressor went on running
// after the water at the plate had stopped: heat that could still have been
// caught.
type LeftRow struct {
	// Stops is how often the water stopped early, LeftS how long it stood while
	// the compressor ran on.
	Stops int
	LeftS float64
	// LeftKWh and FlowKWh: compressor electricity in that time, and while water
	// flowed.
	LeftKWh, FlowKWh float64
	// LeftKWhK and FlowKWhK: the same, each kWh times the kelvins by which the
	// gas stood above the water that enters (or entered last); NaN without
	// gas_in_temp.
	LeftKWhK, FlowKWhK float64
}

// left finds them. The water must have flowed within the same run of the
// compressor: a pump that has not yet started has left nothing. Where
// gas_in_temp is logged the gas must be warmer than the water that entered last
// by Options.LeftLeastK. Nothing is counted where flow or compressor is not
// covered, nor a stop shorter than Options.LeftLeastS.
func (m *maker) left() {
	if m.plate == nil || m.compressor == nil {
		return
	}
	a := m.acc
	a.Left = make([]LeftRow, len(a.Cycles))
	flow, kw := m.plate.Flow.Values, m.compressor.Values
	l := leftFinder{m: m, onKW: compressorOnKW(kw), flowLMin: cycle.Threshold(flow, m.opt.Cycle.ThresholdShare, m.opt.Cycle.ThresholdLMin), lastInC: math.NaN()}
	l.fullLMin = cycle.Threshold(flow, 0.8, 0)
	if s := m.g.Stream("gas_in_temp"); s != nil {
		l.gasC = s.Values
	}
	if s := m.g.Stream("plate_in_temp"); s != nil {
		l.inC = s.Values
	}
	for i, c := range a.Cycles {
		l.row = &a.Left[i]
		for k := c.A; k < c.B; k++ {
			l.cell(k, flow[k], kw[k])
		}
		l.end()
	}
}

type leftFinder struct {
	m              *maker
	row            *LeftRow
	onKW, flowLMin float64
	fullLMin       float64 // a cell with less is one in which the water started or stopped
	gasC, inC      []float64
	flowed         bool // within this run of the compressor
	lastInC        float64
	// the stop that goes on
	standsS, kWh, kWhK float64
}

func (l *leftFinder) cell(k int, flow, kw float64) {
	hours := l.m.g.Hours()
	switch {
	case flow != flow || kw != kw, kw <= l.onKW:
		l.end()
		l.flowed, l.lastInC = false, math.NaN()
	case flow > l.flowLMin:
		l.end()
		l.flowed = true
		l.row.FlowKWh += kw * hours
		if l.inC != nil && l.inC[k] == l.inC[k] && flow >= l.fullLMin {
			l.lastInC = l.inC[k]
		}
		l.row.FlowKWhK += kw * hours * l.driveK(k)
	case l.flowed && l.hot(k):
		l.standsS += l.m.g.StepS
		l.kWh += kw * hours
		l.kWhK += kw * hours * l.driveK(k)
	}
}

// driveK is how far the gas stands above the water; NaN where either is not
// known.
func (l *leftFinder) driveK(k int) float64 {
	if l.gasC == nil {
		return math.NaN()
	}
	in := l.lastInC
	if in != in && l.inC != nil { // the water has only just begun to flow
		in = l.inC[k]
	}
	return math.Max(0, l.gasC[k]-in)
}

// hot: the gas could still warm the water, as far as it is logged.
func (l *leftFinder) hot(k int) bool {
	d := l.driveK(k)
	return d != d || d >= l.m.opt.LeftLeastK
}

func (l *leftFinder) end() {
	if l.standsS >= l.m.opt.LeftLeastS && l.standsS > 0 {
		l.row.Stops++
		l.row.LeftS += l.standsS
		l.row.LeftKWh += l.kWh
		l.row.LeftKWhK += l.kWhK
	}
	l.standsS, l.kWh, l.kWhK = 0, 0, 0
}
