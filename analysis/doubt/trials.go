package doubt

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync/atomic"

	"yardheat/analysis/rank"
	"yardheat/ingest/series/room"
	"yardheat/ingest/work"
)

// Model computes every output under one trial's errors. It is called from
// several goroutines at once: it may read what it shares but write only to
// out and to what Trial.Scratch gives.
type Model func(t *Trial, out []float64)

// Options of Run.
type Options struct {
	Seed uint64
	// MinTrials are always made; more follow, up to MaxTrials, until the
	// digits that Show prints stand.
	MinTrials, MaxTrials int
	Confidence           float64
	// Shortest asks for the shortest interval in place of the one that leaves
	// as much above as below.
	Shortest bool
	// ShareTrials is the number of trials for the share of a Resample source.
	ShareTrials int
	// Workers, 0 = one a core. It does not change any result.
	Workers int
	// Context ends the work, which is then left by work.Check; nil = it never
	// ends. It is no setting.
	Context context.Context
}

// DefaultOptions are what a report uses.
func DefaultOptions() Options {
	return Options{Seed: 1, MinTrials: 20_000, MaxTrials: 200_000, Confidence: Confidence, ShareTrials: 400}
}

// Validate names the first option that cannot be used.
func (o Options) Validate() error {
	switch {
	case o.MinTrials < 100:
		return fmt.Errorf("doubt: MinTrials is %d; want 100 or more", o.MinTrials)
	case o.MaxTrials < o.MinTrials:
		return fmt.Errorf("doubt: MaxTrials is %d; want at least MinTrials, %d", o.MaxTrials, o.MinTrials)
	case !(o.Confidence > 0 && o.Confidence < 1):
		return fmt.Errorf("doubt: Confidence is %v; want more than 0 and less than 1", o.Confidence)
	case o.ShareTrials < 10:
		return fmt.Errorf("doubt: ShareTrials is %d; want 10 or more", o.ShareTrials)
	case o.Workers < 0:
		return fmt.Errorf("doubt: Workers is %d; want 0 or more", o.Workers)
	}
	return nil
}

// Run makes the trials (JCGM 101:2008, clause 7) and weighs the sources.
// Every trial has a random stream of its own, made from the seed and its
// number, so the results are the same on any number of workers.
//
// Trials go on in rounds of MinTrials until, for every output, twice the
// standard error of both interval ends is below half the last digit that Show
// prints (the criterion of JCGM 101, 7.9.4, with standard errors from order
// statistics), or MaxTrials are made. An output that stands is not carried
// further.
func Run(sources []Source, model Model, nOut int, opt Options) (*Result, error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	for i, s := range sources {
		if err := s.check(); err != nil {
			return nil, err
		}
		for _, l := range s.Of {
			if l.Source < 0 || l.Source >= i {
				return nil, fmt.Errorf("doubt: source %q is made of source %d; want one that stands before it", s.Name, l.Source)
			}
		}
	}
	if nOut < 1 || model == nil {
		return nil, errors.New("doubt: want a model with at least one output")
	}
	r := &runner{sources: sources, model: model, nOut: nOut, opt: opt, plan: planOf(sources)}
	for i, s := range sources {
		if len(s.Of) > 0 {
			r.loaded = append(r.loaded, i)
		}
	}
	res := &Result{Outputs: make([]Output, nOut), Sources: sources, columns: make([][]float64, nOut), run: r}
	r.nominal(res.Outputs)
	r.rounds(res)
	r.shares(res)
	return res, nil
}

// Trial is one draw of every source's error.
type Trial struct {
	// E holds one error a source, in the source's unit (a fraction with
	// Relative); 0 for Resample sources.
	E []float64

	r       *runner
	number  uint64
	only    int // the one source that varies; all, or none
	weights [][]float64
	drawn   []bool
	day     []float64
	open    []bool // outputs still asked for; nil = all
	rng     *rand.Rand
	pcg     *rand.PCG
	scratch []float64
	sums    []float64 // of a pool
}

// Values of Trial.only.
const (
	all  = -1
	none = -2
)

// Weights are the weights of the rows behind the Resample source i, drawn
// when first asked for. All are 1 in the nominal run. Do not write to them.
func (t *Trial) Weights(i int) []float64 {
	b := t.r.sources[i].Blocks
	if t.only != all && t.only != i {
		return b.ones
	}
	if !t.drawn[i] {
		if t.weights[i] == nil {
			t.weights[i] = make([]float64, b.Rows)
		}
		t.pcg.Seed(mix(t.r.opt.Seed+uint64(i)+1), mix(t.number))
		b.draw(t.rng, t.weights[i], t.day[:b.Days])
		t.drawn[i] = true
	}
	return t.weights[i]
}

// Wants tells whether any of n outputs from index at is still asked for: a
// model may leave the others alone.
func (t *Trial) Wants(at, n int) bool {
	return t.open == nil || slices.Contains(t.open[at:at+n], true)
}

// Scratch gives n numbers to work in; their content is whatever the last
// trial left.
func (t *Trial) Scratch(n int) []float64 {
	if cap(t.scratch) < n {
		t.scratch = make([]float64, n)
	}
	return t.scratch[:n]
}

func (t *Trial) draw(number int) {
	t.number, t.only = uint64(number), all
	clear(t.drawn)
	t.pcg.Seed(mix(t.r.opt.Seed), mix(t.number))
	for i, p := range t.r.plan {
		switch p.dist {
		case Normal:
			t.E[i] = p.scale * t.rng.NormFloat64()
		case Rectangular:
			t.E[i] = p.scale * (2*t.rng.Float64() - 1)
		case OneSided:
			t.E[i] = p.scale * t.rng.Float64()
		}
	}
	t.r.made(t.E)
}

// made fills in the errors that are made of others.
func (r *runner) made(e []float64) {
	for _, i := range r.loaded {
		sum := 0.0
		for _, l := range r.sources[i].Of {
			sum += l.Weight * e[l.Source]
		}
		e[i] = sum
	}
}

// mix is the finaliser of SplitMix64 (Steele and others 2014): it makes far
// seeds of near numbers.
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// planned is what a draw needs of a source, without its words.
type planned struct {
	dist  Dist
	scale float64 // of a standard normal, or the limit
}

func planOf(sources []Source) []planned {
	plan := make([]planned, len(sources))
	for i, s := range sources {
		plan[i] = planned{dist: s.Dist, scale: s.HalfWidth}
		switch {
		case len(s.Of) > 0:
			plan[i].dist = Resample // nothing is drawn
		case s.Dist == Normal:
			plan[i].scale = s.U()
		}
	}
	return plan
}

type runner struct {
	sources []Source
	plan    []planned
	loaded  []int // sources made of others
	model   Model
	nOut    int
	opt     Options
}

func (r *runner) newTrial() *Trial {
	n, days := len(r.sources), 0
	for _, s := range r.sources {
		if s.Blocks != nil {
			days = max(days, s.Blocks.Days)
		}
	}
	pcg := rand.NewPCG(0, 0)
	return &Trial{E: make([]float64, n), r: r, only: none, weights: make([][]float64, n),
		drawn: make([]bool, n), day: make([]float64, days), pcg: pcg, rng: rand.New(pcg)}
}

func (r *runner) nominal(outputs []Output) {
	out := make([]float64, r.nOut)
	r.model(r.newTrial(), out)
	for k, v := range out {
		outputs[k].Nominal = v
	}
}

func (r *runner) rounds(res *Result) {
	open := make([]int, r.nOut)
	for k := range open {
		open[k] = k
	}
	for made := 0; len(open) > 0 && made < r.opt.MaxTrials; {
		next := min(made+r.opt.MinTrials, r.opt.MaxTrials)
		if made == 0 {
			all := room.Make[float64](next * len(open))
			for i, k := range open {
				res.columns[k] = all[i*next : (i+1)*next : (i+1)*next]
			}
		}
		for _, k := range open {
			res.columns[k] = slices.Grow(res.columns[k], next-len(res.columns[k]))[:next]
		}
		r.fill(res.columns, open, made, next)
		r.workers(len(open), func(next func() (int, bool)) {
			var by rank.Sorter
			for i, ok := next(); ok; i, ok = next() {
				work.Check(r.opt.Context)
				order(res.columns[open[i]], made, &by)
				res.Outputs[open[i]].settle(res.columns[open[i]], r.opt)
			}
		})
		made = next
		open = slices.DeleteFunc(open, func(k int) bool { return res.Outputs[k].Settled })
		res.Trials = made
	}
}

// chunk is how many trials a worker takes at once: enough to turn rows into
// columns without missing the cache at each step.
const chunk = 128

// fill makes the trials from … to−1 and stores the open outputs by column.
func (r *runner) fill(columns [][]float64, open []int, from, to int) {
	chunks := (to - from + chunk - 1) / chunk
	wanted := make([]bool, r.nOut)
	for _, k := range open {
		wanted[k] = true
	}
	r.workers(chunks, func(next func() (int, bool)) {
		t, rows := r.newTrial(), make([]float64, chunk*r.nOut)
		t.open = wanted
		for c, ok := next(); ok; c, ok = next() {
			work.Check(r.opt.Context)
			start := from + c*chunk
			n := min(chunk, to-start)
			for j := range n {
				t.draw(start + j)
				r.model(t, rows[j*r.nOut:(j+1)*r.nOut])
			}
			for _, k := range open {
				column := columns[k][start : start+n]
				for j := range column {
					column[j] = finite(rows[j*r.nOut+k])
				}
			}
		}
	})
}

// finite turns an infinity (something over 0) into "no number".
func finite(v float64) float64 {
	if math.IsInf(v, 0) {
		return math.NaN()
	}
	return v
}

// workers shares 0 … n−1 out among the cores.
func (r *runner) workers(n int, do func(next func() (int, bool))) {
	count := r.opt.Workers
	if count == 0 {
		count = runtime.GOMAXPROCS(0)
	}
	var taken atomic.Int64
	next := func() (int, bool) {
		i := int(taken.Add(1)) - 1
		return i, i < n
	}
	var wait work.Group
	for range min(count, n) {
		wait.Go(func() { do(next) })
	}
	wait.Wait()
}

// shares weighs the sources one at a time.
func (r *runner) shares(res *Result) {
	res.variances, res.slopes = make([][]float64, len(r.sources)), make([][]float64, len(r.sources))
	r.workers(len(r.sources), func(next func() (int, bool)) {
		t := r.newTrial()
		for i, ok := next(); ok; i, ok = next() {
			work.Check(r.opt.Context)
			res.variances[i], res.slopes[i] = r.varianceOf(t, i, res.Outputs)
		}
	})
	for k := range res.Outputs {
		sum := 0.0
		for i := range r.sources {
			sum += res.variances[i][k]
		}
		res.Outputs[k].AloneSD = math.Sqrt(sum)
	}
}
