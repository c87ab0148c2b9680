package clock

// pass resolves the rows of one repeated hour. In the order of time they are
// split once: those before the split belong to the first pass (the offset
// before the change), the rest to the second. Every split is weighed by the
// steps it makes, from the last row before the hour to the first one after.
type pass struct {
	walls       []int64
	shiftMS     int64 // by how much the clock goes back
	usualMS     int64
	before      int64 // UTC of the row before, Bad where there is none
	after       int64 // UTC of the row after, Bad where there is none
	firstOffset int64
}

// group resolves the run of rows from the k-th on whose wall times stand in
// the hour that the end of stretch s repeats.
func (j *job) group(k, s int) int {
	p := pass{shiftMS: j.r.spans[s].offsetMS - j.r.spans[s+1].offsetMS, usualMS: j.usual,
		before: j.known(k, -1), firstOffset: j.r.spans[s].offsetMS}
	var rows []int
	end := k
	for ; end < len(j.utc); end++ {
		i := j.at(end)
		w := j.col.Wall[i]
		if w == Bad {
			j.utc[i] = Bad
			continue
		}
		if o := j.col.OffsetMS; o != nil && o[i] != NoOffset {
			break
		}
		if !j.r.spans[s].holds(w) || !j.r.spans[s+1].holds(w) {
			break
		}
		rows = append(rows, i)
		p.walls = append(p.walls, w)
	}
	p.after = j.known(end, 1)
	second, sure, because := p.settle(j.crowd(k))
	for n, i := range rows {
		j.utc[i] = p.walls[n] - p.firstOffset
		if second[n] {
			j.utc[i] += p.shiftMS
		}
	}
	j.probs = append(j.probs, Repeat{Kind: "repeated", AtMS: j.r.spans[s].endMS, Rows: len(rows), Sure: sure, Because: because,
		FirstRow: min(rows[0], rows[len(rows)-1]), LastRow: max(rows[0], rows[len(rows)-1])})
	return end
}

// known is the UTC of the nearest readable row from the k-th on (dir 1) or
// before it (dir -1); Bad where there is none or it is itself in doubt.
func (j *job) known(k, dir int) int64 {
	if dir < 0 {
		k--
	}
	for ; k >= 0 && k < len(j.utc); k += dir {
		i := j.at(k)
		w := j.col.Wall[i]
		if w == Bad {
			continue
		}
		if dir < 0 {
			return j.utc[i]
		}
		if o := j.col.OffsetMS; o != nil && o[i] != NoOffset {
			return w - o[i]
		}
		first, last, _ := j.r.find(w)
		if first != last {
			return Bad
		}
		return w - j.r.spans[first].offsetMS
	}
	return Bad
}

// crowd is how many rows share one stamp just before the k-th row: more than
// one in a long event log.
func (j *job) crowd(k int) float64 {
	rows, stamps := 0, 0
	last := int64(Bad)
	for n := max(0, k-200); n < k; n++ {
		w := j.col.Wall[j.at(n)]
		if w == Bad {
			continue
		}
		rows++
		if w != last {
			stamps++
		}
		last = w
	}
	if stamps == 0 {
		return 1
	}
	return float64(rows) / float64(stamps)
}

// settle says which rows belong to the second pass.
func (p *pass) settle(crowd float64) (second []bool, sure bool, because string) {
	second = make([]bool, len(p.walls))
	if p.interleaved(crowd) {
		p.halves(second)
		return second, false, "every stamp of the repeated hour stands twice as often as others and the rows never step back: the first of each was taken for the first pass"
	}
	split, sure := p.bestSplit()
	for i := split; i < len(second); i++ {
		second[i] = true
	}
	switch {
	case !sure:
		because = "the hour stands in the rows once only and fits either pass: the logger may not have followed the clock change"
	case split == 0:
		because = "the rows run on into the next hour: second pass"
	case split == len(second):
		because = "the rows run on from the hour before: first pass"
	default:
		because = "the rows step back where the second pass begins"
	}
	return second, sure, because
}

// bestSplit weighs every split and gives the cheapest; of equal ones the
// latest, and then it is not sure.
func (p *pass) bestSplit() (split int, sure bool) {
	n := len(p.walls)
	var inner int64
	for i := 1; i < n; i++ {
		inner += p.cost(p.walls[i] - p.walls[i-1])
	}
	best, ties := int64(-1), 0
	for k := n; k >= 0; k-- {
		c := inner
		if k > 0 && k < n {
			d := p.walls[k] - p.walls[k-1]
			c += p.cost(d+p.shiftMS) - p.cost(d)
		}
		c += p.edge(p.before, p.utc(0, k == 0)) + p.edge(p.utc(n-1, k < n), p.after)
		switch {
		case best < 0 || c < best:
			best, ties, split = c, 0, k
		case c == best:
			ties++
		}
	}
	return split, ties == 0
}

func (p *pass) utc(i int, second bool) int64 {
	u := p.walls[i] - p.firstOffset
	if second {
		u += p.shiftMS
	}
	return u
}

func (p *pass) edge(from, to int64) int64 {
	if from == Bad || to == Bad {
		return 0
	}
	return p.cost(to - from)
}

// cost of a step in the order of time: how far it is from the usual one, cut
// at a third of the shift (a gap is a gap, however long), and three times the
// way back where it goes back.
func (p *pass) cost(step int64) int64 {
	d := step - p.usualMS
	c := min(max(d, -d), p.shiftMS/3)
	if step < 0 {
		c += 3 * min(-step, dayMS)
	}
	return c
}

// interleaved tells whether both passes stand mixed, sorted by wall time:
// stamps stand about twice as often as before the hour and none steps back.
func (p *pass) interleaved(crowd float64) bool {
	stamps := 1
	for i := 1; i < len(p.walls); i++ {
		if p.walls[i] < p.walls[i-1] {
			return false
		}
		if p.walls[i] != p.walls[i-1] {
			stamps++
		}
	}
	return stamps >= 2 && float64(len(p.walls))/float64(stamps) >= 1.8*crowd
}

// halves puts the second half of each stamp's rows into the second pass.
func (p *pass) halves(second []bool) {
	for i := 0; i < len(p.walls); {
		k := i
		for k < len(p.walls) && p.walls[k] == p.walls[i] {
			k++
		}
		for n := i + (k-i+1)/2; n < k; n++ {
			second[n] = true
		}
		i = k
	}
}
