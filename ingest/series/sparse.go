package series

import (
	"iter"
	"slices"
)

// flagPage is how many readings share one page of flags: small enough that a
// season of single bad readings takes a fraction of a byte a reading.
const flagPage = 256

// Flags are the flags of a series' readings, one a reading, kept sparse: a
// stretch without a flag takes no room. The zero value holds none.
type Flags struct {
	n, set, absent int
	pages          []*[flagPage]Flag
	// shared tells of each page whether a clone has it too, so that it must not
	// be written to; shorter than pages: the rest are not.
	shared []bool
}

// NewFlags are the flags of n readings, none set.
func NewFlags(n int) Flags { return Flags{n: n} }

// FlagsOf are the flags as listed, one a reading.
func FlagsOf(list ...Flag) Flags {
	var f Flags
	for _, x := range list {
		f.Append(x)
	}
	return f
}

// Len is the number of readings.
func (f *Flags) Len() int { return f.n }

// Set is the number of readings that carry a flag, absent ones among them.
func (f *Flags) Set() int { return f.set }

// Absent is the number of stamps without a reading.
func (f *Flags) Absent() int { return f.absent }

// At gives the flags of reading i; 0 = kept.
func (f *Flags) At(i int) Flag {
	if p := i / flagPage; p < len(f.pages) && f.pages[p] != nil {
		return f.pages[p][i%flagPage]
	}
	return 0
}

// Or adds flags to reading i.
func (f *Flags) Or(i int, x Flag) {
	if x == 0 {
		return
	}
	p := i / flagPage
	if p >= len(f.pages) {
		f.pages = append(f.pages, make([]*[flagPage]Flag, p+1-len(f.pages))...)
	}
	if f.pages[p] == nil {
		f.pages[p] = new([flagPage]Flag)
		if p < len(f.shared) {
			f.shared[p] = false
		}
	}
	at := &f.own(p)[i%flagPage]
	if *at == 0 {
		f.set++
	}
	if x&^*at&Absent != 0 {
		f.absent++
	}
	*at |= x
}

// Each gives every reading that carries a flag, in order.
func (f *Flags) Each(do func(i int, x Flag)) {
	for p, page := range f.pages {
		if page == nil {
			continue
		}
		for k, x := range page {
			if x != 0 {
				do(p*flagPage+k, x)
			}
		}
	}
}

// Clone is a copy of its own. What neither changes is held once.
func (f *Flags) Clone() Flags {
	out := *f
	out.pages = slices.Clone(f.pages)
	f.shared = slices.Repeat([]bool{true}, len(f.pages))
	out.shared = slices.Clone(f.shared)
	return out
}

// own is a page that may be written to.
func (f *Flags) own(p int) *[flagPage]Flag {
	if p < len(f.shared) && f.shared[p] {
		page := *f.pages[p]
		f.pages[p], f.shared[p] = &page, false
	}
	return f.pages[p]
}

// Clear takes the flags off reading i.
func (f *Flags) Clear(i int) {
	x := f.At(i)
	if x == 0 {
		return
	}
	f.own(i / flagPage)[i%flagPage] = 0
	f.set--
	if x&Absent != 0 {
		f.absent--
	}
}

// Append adds the flags of one more reading.
func (f *Flags) Append(x Flag) {
	f.n++
	f.Or(f.n-1, x)
}

// Pad adds n more readings without a flag.
func (f *Flags) Pad(n int) { f.n += n }

// Clean tells whether no reading in [lo, hi) carries a flag.
func (f *Flags) Clean(lo, hi int) bool {
	for i := lo; i < hi; i++ {
		if p := i / flagPage; p >= len(f.pages) {
			return true
		} else if f.pages[p] == nil {
			i = (p+1)*flagPage - 1
			continue
		}
		if f.At(i) != 0 {
			return false
		}
	}
	return true
}

// Until is the end of the stretch of readings without a flag that begins at i,
// at most hi; i itself where that reading carries one.
func (f *Flags) Until(i, hi int) int {
	for i < hi {
		p := i / flagPage
		end := min((p+1)*flagPage, hi)
		if p < len(f.pages) && f.pages[p] != nil {
			for page := f.pages[p]; i < end; i++ {
				if page[i%flagPage] != 0 {
					return i
				}
			}
		} else if i = end; p >= len(f.pages) {
			return hi
		}
	}
	return hi
}

// All gives the readings that carry a flag, in their order.
func (f *Flags) All() iter.Seq2[int, Flag] {
	return func(yield func(int, Flag) bool) {
		for p, page := range f.pages {
			if page == nil {
				continue
			}
			for i, x := range page {
				if x != 0 && !yield(p*flagPage+i, x) {
					return
				}
			}
		}
	}
}

// Origins say where the readings of a series stand, kept as runs of rows that
// follow each other upwards or downwards in one file. The zero value holds
// none.
type Origins struct {
	n    int
	runs []originRun
}

// originRun is a run of readings: the first at index at, each further one step
// lines on.
type originRun struct {
	at   int
	from Origin
	step int32
}

// Len is the number of readings.
func (o *Origins) Len() int { return o.n }

// Append adds the place of one more reading.
func (o *Origins) Append(x Origin) {
	i := o.n
	o.n++
	if k := len(o.runs) - 1; k >= 0 {
		r := &o.runs[k]
		if i == r.at+1 && x.File == r.from.File && (x.Line == r.from.Line+1 || x.Line == r.from.Line-1) {
			r.step = x.Line - r.from.Line
			return
		}
		if r.step != 0 && x.File == r.from.File && x.Line == r.from.Line+r.step*int32(i-r.at) {
			return
		}
	}
	o.runs = append(o.runs, originRun{at: i, from: x})
}

// AppendRun adds n readings in rows that follow each other.
func (o *Origins) AppendRun(from Origin, n int) {
	if n <= 0 {
		return
	}
	o.runs = append(o.runs, originRun{at: o.n, from: from, step: 1})
	o.n += n
}

// AppendAll adds the places of another series' readings.
func (o *Origins) AppendAll(x *Origins) {
	for _, r := range x.runs {
		r.at += o.n
		o.runs = append(o.runs, r)
	}
	o.n += x.n
}

// AppendPart adds the places of the readings lo to hi (left out) of another
// series.
func (o *Origins) AppendPart(x *Origins, lo, hi int) {
	for k := x.run(lo); lo < hi; k++ {
		end := hi
		if k+1 < len(x.runs) {
			end = min(hi, x.runs[k+1].at)
		}
		if r := x.runs[k]; end > lo {
			o.runs = append(o.runs, originRun{at: o.n, from: Origin{File: r.from.File, Line: r.from.Line + r.step*int32(lo-r.at)}, step: r.step})
			o.n += end - lo
			lo = end
		}
	}
}

// Run is a stretch of readings in rows that follow each other: the first is
// reading At, each further one stands Step lines on.
type Run struct {
	At, N int
	First Origin
	Step  int32
}

// Runs lists the stretches, in the order of the readings.
func (o *Origins) Runs() []Run {
	out := make([]Run, len(o.runs))
	for k, r := range o.runs {
		end := o.n
		if k+1 < len(o.runs) {
			end = o.runs[k+1].at
		}
		out[k] = Run{At: r.at, N: end - r.at, First: r.from, Step: r.step}
	}
	return out
}

// At gives the place of reading i.
func (o *Origins) At(i int) Origin {
	r := o.runs[o.run(i)]
	return Origin{File: r.from.File, Line: r.from.Line + r.step*int32(i-r.at)}
}

// run is the run in which reading i stands.
func (o *Origins) run(i int) int {
	lo, hi := 0, len(o.runs)
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; o.runs[mid].at <= i {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// List gives the flags one by one.
func (f *Flags) List() []Flag {
	out := make([]Flag, f.n)
	for i := range out {
		out[i] = f.At(i)
	}
	return out
}
