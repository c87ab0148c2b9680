//go:build study

package study

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/simfarm"
)

// slowIntervalsS are the intervals held against a log by 10 s.
var slowIntervalsS = []int{60, 300, 600, 900}

var forms = []simfarm.Form{simfarm.FormInstant, simfarm.FormMeanStart, simfarm.FormMeanEnd}

// logged is one farm as logged in one way: its heats.
type logged struct {
	EveryS int
	Form   simfarm.Form
	Heats  map[string]Figure
}

// relogged runs a farm logged by 10 s and in every slower way.
func relogged(t *testing.T, seed uint64) []logged {
	name := filepath.Join(*chunks, fmt.Sprintf("slow-%05d.json", seed))
	var all []logged
	if b, err := os.ReadFile(name); *chunks != "" && err == nil {
		require.NoError(t, json.Unmarshal(b, &all), name)
		return all
	}
	one := func(everyS int, form simfarm.Form) {
		f, err := simfarm.Run(simfarm.Relog(simfarm.Short(seed), everyS, form))
		require.NoError(t, err)
		got, bare, seen := headline(compute(t, f)), f.Truth().Headline(), f.Seen().Headline()
		l := logged{everyS, form, map[string]Figure{}}
		for _, key := range heatKeys {
			g := got[key]
			l.Heats[key] = Figure{Value: known(g.Value), Low: known(g.Low), High: known(g.High), Bare: bare[key], Seen: seen[key], Why: g.Why}
		}
		all = append(all, l)
	}
	one(10, simfarm.FormInstant)
	for _, every := range slowIntervalsS {
		for _, form := range forms {
			one(every, form)
		}
	}
	if *chunks != "" {
		b, err := json.Marshal(all)
		require.NoError(t, err)
		require.NoError(t, os.MkdirAll(*chunks, 0o755))
		require.NoError(t, os.WriteFile(name, b, 0o644))
	}
	return all
}

// slowRow sums up one heat logged in one way.
func slowRow(runs [][]logged, everyS int, form simfarm.Form, key string) string {
	var off, signed []float64
	n, inside, held := 0, 0, 0
	for _, all := range runs {
		base := number(all[0].Heats[key].Value)
		for _, l := range all[1:] {
			f := l.Heats[key]
			if l.EveryS != everyS || l.Form != form || f.Value == nil {
				continue
			}
			n++
			d := 100 * (*f.Value/base - 1)
			off, signed = append(off, math.Abs(d)), append(signed, d)
			if f.holds() {
				held++
			}
			if f.Bare = base; f.holds() {
				inside++
			}
		}
	}
	return fmt.Sprintf("| %d | %s | `%s` | %d | %.2f | %+.2f | %.2f | %s | %s |", everyS/60, form, key, n, quantile(off, 0.5), quantile(signed, 0.5), quantile(off, 0.95), share(inside, n), share(held, n))
}

func TestSlowLogs(t *testing.T) {
	farms := min(*farms, 40)
	var runs [][]logged
	for seed := *first; seed < *first+farms; seed++ {
		runs = append(runs, relogged(t, uint64(seed)))
	}
	var b strings.Builder
	b.WriteString(head(fmt.Sprintf("Slow logs: %d farms", farms), fmt.Sprintf("go test -run SlowLogs -tags study -timeout 5h ./analysis/study -farms %d", farms)))
	b.WriteString("The same farms, their probes' errors alike, logged by 10 s and more slowly: the difference of each heat from that of the\n" +
		"10 s log, how often that lies inside the slow log's stated interval, and how often the bare truth does.\n\n" +
		"| min | form | heat | farms | off %: median | with sign | 95th percentile | 10 s inside % | truth inside % |\n|---|---|---|---|---|---|---|---|---|\n")
	for _, every := range slowIntervalsS {
		for _, form := range forms {
			for _, key := range heatKeys {
				b.WriteString(slowRow(runs, every, form, key) + "\n")
			}
		}
	}
	t.Log("\n" + b.String())
	write(t, "slow.md", b.String())
}
