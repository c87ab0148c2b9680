//go:build study

package season

import (
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest"
	"yardheat/ingest/simfarm"
)

var (
	studyFarms = flag.Int("farms", 200, "simulated farms a row of the account's study")
	studyFrom  = flag.Uint64("from", 1, "seed of the first")
)

// made says when and how a section was made.
func made(test string) string {
	return fmt.Sprintf("Made %s: `go test ./analysis/season -tags study -run %s -farms %d -from %d -timeout 60m`; seeds %d to %d.\n",
		time.Now().UTC().Format("2 January 2006"), test, *studyFarms, *studyFrom, *studyFrom, lastSeed())
}

func lastSeed() uint64 { return *studyFrom + uint64(*studyFarms) - 1 }

// tally gathers one figure over farms.
type tally struct {
	n, held, known int
	off            []float64 // figure over truth, less 1
	width          []float64 // half-width over value
}

func (x *tally) add(f Figure, truth float64) {
	x.n++
	if math.IsNaN(f.Value) {
		return
	}
	x.known++
	if holds(f, truth) {
		x.held++
	}
	x.off = append(x.off, f.Value/truth-1)
	x.width = append(x.width, (f.High-f.Low)/2/math.Abs(f.Value))
}

func (x *tally) row() string {
	slices.Sort(x.off)
	slices.Sort(x.width)
	if x.known == 0 {
		return fmt.Sprintf("%d | 0 | – | – | – |", x.n)
	}
	return fmt.Sprintf("%d | %d | %.1f %% | %+.1f %% | %.1f %% |", x.n, x.known, 100*float64(x.held)/float64(x.known), 100*x.off[len(x.off)/2], 100*x.width[len(x.width)/2])
}

// section writes one part of testdata/study/account.md between its marks.
func section(t *testing.T, name, text string) {
	t.Helper()
	path := filepath.Join("..", "..", "testdata", "study", "account.md")
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
	old, err := os.ReadFile(path)
	if err != nil {
		old = []byte("# The account on simulated farms\n\nMade by `go test ./analysis/season -tags study -run StudyAccount` (add `-farms N`). Farms are invented;\nan interval says 95 %, so 95 in 100 should hold the truth.\n")
	}
	begin, end := "\n## "+name+"\n", "\n<!-- end of "+name+" -->\n"
	doc := string(old)
	if a := strings.Index(doc, begin); a >= 0 {
		b := strings.Index(doc, end)
		doc = doc[:a] + doc[b+len(end):]
	}
	require.NoError(t, os.WriteFile(path, []byte(doc+begin+"\n"+text+end), 0o644))
	t.Log("\n" + text)
}

const head = "| figure | farms | known | held by its interval | median off | median half-width |\n|---|---|---|---|---|---|\n"

// redrawn is the share of the litres' errors, drawn anew by quantiles, with which
// the interval would hold the truth: figure and ends go with the litres stated.
// It takes the chance of these few draws out of the count.
func redrawn(f Figure, truth, drawError, half float64) float64 {
	const n = 400
	held := 0
	for i := range n {
		z := math.Sqrt2 * math.Erfinv(2*(float64(i)+0.5)/n-1)
		by := (1 + half/z95*z) / (1 + drawError)
		if f.Low*by <= truth && truth <= f.High*by {
			held++
		}
	}
	return float64(held) / n
}

// anew adds up redrawn, and what the method itself is off by: as seen through the
// litres stated.
type anew struct {
	share, n float64
	off      []float64
}

func (x *anew) add(f Figure, truth, drawError float64) {
	x.share, x.n = x.share+redrawn(f, truth, drawError, 0.10), x.n+1
	x.off = append(x.off, f.Value/(truth*(1+drawError))-1)
}

func (x *anew) row() string {
	slices.Sort(x.off)
	n := len(x.off)
	return fmt.Sprintf(" %.1f %% | %+.1f %% | %+.1f to %+.1f %% |", 100*x.share/x.n, 100*x.off[n/2], 100*x.off[n/20], 100*x.off[n-1-n/20])
}

const headAnew = "| figure | farms | known | held by its interval | median off | median half-width | held, litres drawn anew | method off, median | of nine farms in ten |\n|---|---|---|---|---|---|---|---|---|\n"

func TestStudyAccountWithoutMeters(t *testing.T) {
	text := made("StudyAccountWithoutMeters") + "\nInlet, outlet, bed, tank and compressor on or off; `loop.draw_l` stated within 10 %. The rows of one figure share their\nfarms, and so their errors of draw_l, which make most of the spread: \"litres drawn anew\" is the share held over all of\nits errors. \"Method off\" is through the litres as stated.\n\n" +
		"| logged every | draws that happened | found | found that did not happen |\n|---|---|---|---|\n"
	rows := headAnew
	for _, everyS := range studyIntervals(t) {
		var draws drawTally
		var loop, wash tally
		var loopAnew, washAnew anew
		named := 0
		for seed := *studyFrom; seed <= lastSeed(); seed++ {
			farm, _, s := simulated(t, simfarm.Meterless(seed, everyS), nil)
			draws.add(farm.DrawSpans(), spansOf(s))
			loop.add(find(t, s.Heat.Seen, "loop_kwh"), farm.Truth().LoopKWh)
			wash.add(find(t, s.Heat.Seen, "wash_kwh"), farm.Truth().WashKWh)
			loopAnew.add(find(t, s.Heat.Seen, "loop_kwh"), farm.Truth().LoopKWh, farm.DrawError())
			washAnew.add(find(t, s.Heat.Seen, "wash_kwh"), farm.Truth().WashKWh, farm.DrawError())
			if drawShare(s, "loop_kwh", "loop.draw_l") > 0 {
				named++
			}
		}
		require.Equal(t, *studyFarms, named, "budgets that name loop.draw_l")
		text += fmt.Sprintf("| %d s | %d | %.2f %% | %d |\n", everyS, draws.happened, 100*float64(draws.found)/float64(draws.happened), draws.wrong)
		rows += fmt.Sprintf("| loop_kwh, every %d s | %s%s\n| wash_kwh, every %d s | %s%s\n", everyS, loop.row(), loopAnew.row(), everyS, wash.row(), washAnew.row())
	}
	section(t, "No meter, temperatures only", text+"\n"+rows)
}

var everyFlag = flag.String("every", "60,300,600,900", "intervals of the logs without meters, s")

func studyIntervals(t *testing.T) []int {
	var out []int
	for _, x := range strings.Split(*everyFlag, ",") {
		n, err := strconv.Atoi(x)
		require.NoError(t, err)
		out = append(out, n)
	}
	return out
}

func TestStudyAccountWithHoles(t *testing.T) {
	keys := []string{"loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "saved_kwh", "money"}
	whole, seen := map[string]*tally{}, map[string]*tally{}
	for _, k := range keys {
		whole[k], seen[k] = &tally{}, &tally{}
	}
	var missing []float64
	for seed := *studyFrom; seed <= lastSeed(); seed++ {
		farm, _, s := simulated(t, simfarm.Holed(seed), nil)
		truth := farm.Truth().Headline()
		truth["money"] = farm.MoneyTruth()
		for _, k := range keys {
			a, b := s.Heat.Whole, s.Heat.Seen
			if k == "saved_kwh" || k == "money" {
				a, b = s.Saving.Whole, s.Saving.Figures
			}
			f := find(t, a, k)
			whole[k].add(f, truth[k])
			seen[k].add(find(t, b, k), truth[k])
			missing = append(missing, 1-f.Coverage)
		}
	}
	slices.Sort(missing)
	text := made("StudyAccountWithHoles") + fmt.Sprintf("\nOne to three times a single logger, or all, out for 12 hours to 5 days; %.0f %% of the period is missing in the median, %.0f %% at most.\n"+
		"The alternative's price rises by half in mid-season. The totals as seen are no estimate of the whole: their row shows what the estimate mends.\n\n",
		100*missing[len(missing)/2], 100*missing[len(missing)-1]) + head
	for _, k := range keys {
		text += fmt.Sprintf("| %s, whole | %s\n| %s, as seen | %s\n", k, whole[k].row(), k, seen[k].row())
	}
	section(t, "Loggers out for days", text)
}

func TestStudyAccountTank(t *testing.T) {
	var loss, unexplained, unexplainedWithout tally
	for seed := *studyFrom; seed <= lastSeed(); seed++ {
		farm, err := simfarm.Run(simfarm.WithAir(seed))
		require.NoError(t, err)
		dir := t.TempDir()
		require.NoError(t, farm.Write(dir))
		rec, err := ingest.Load(dir, ingest.DefaultLoadOptions())
		require.NoError(t, err)
		s := savingOf(t, rec) // needs no fit
		f := find(t, s.Heat.Seen, "loss_kwh")
		loss.add(f, farm.TankTruth().LossKWh)
		// Truth 0 where the loss is known, the loss itself where it stays inside.
		u := find(t, s.Heat.Seen, "unexplained_kwh")
		if math.IsNaN(f.Value) {
			unexplainedWithout.add(u, farm.TankTruth().LossKWh)
		} else {
			unexplained.n++
			unexplained.known++
			if holds(u, 0) {
				unexplained.held++
			}
		}
	}
	text := made("StudyAccountTank") + "\nThe upper half of the tank has a probe, the lower none; the air beside it is logged, its volume\nstated within 5 %. Nights without five still\n" +
		"stretches of four hours leave the loss unknown.\n\n" + head +
		"| loss_kwh | " + loss.row() + "\n| unexplained_kwh, loss inside | " + unexplainedWithout.row() +
		fmt.Sprintf("\n| unexplained_kwh holds 0, loss known | %d | %d | %.1f %% | | |\n", unexplained.n, unexplained.known, 100*float64(unexplained.held)/float64(max(1, unexplained.known)))
	section(t, "Tank loss and what stays unexplained", text)
}
