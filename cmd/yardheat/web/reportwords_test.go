package web

import (
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"yardheat/analysis/today"
	"yardheat/cmd/yardheat/web/display"
	"yardheat/cmd/yardheat/web/job"
	"yardheat/cmd/yardheat/web/texts"
	"yardheat/ingest/series"
	"yardheat/ingest/work"
	"yardheat/reports/results"
)

func itoa64(n int64) string { return strconv.FormatInt(n, 10) }

func catalogue(t *testing.T) *texts.Catalogue {
	t.Helper()
	c, err := texts.Load()
	require.NoError(t, err)
	return c
}

// top is the repository's top folder, seen from here.
func top(parts ...string) string {
	return filepath.Join(append([]string{"..", "..", ".."}, parts...)...)
}

func TestEveryProblemCodeHasPlainWords(t *testing.T) {
	guide, err := os.ReadFile(top("DEVELOPERS.md"))
	require.NoError(t, err)
	_, list, ok := strings.Cut(string(guide), "## Problem codes")
	require.True(t, ok)
	list, _, _ = strings.Cut(list, "\n## ")
	codes := regexp.MustCompile("(?m)^\\| `([a-z0-9-]+)` \\|").FindAllStringSubmatch(list, -1)
	require.Greater(t, len(codes), 60)
	c, known := catalogue(t), map[string]bool{}
	for _, m := range codes {
		known[m[1]] = true
		assert.True(t, c.Has("problem."+m[1]), "problem.%s has no plain words in the catalogue", m[1])
	}
	for _, key := range c.Keys() {
		if code, ok := strings.CutPrefix(key, "problem."); ok && code != "other" { // for files that were given
			assert.True(t, known[code], "%s explains no code of DEVELOPERS.md", key)
		}
	}
}

func TestCautionsSayInEnglishWhatTheReportSays(t *testing.T) {
	source, err := os.ReadFile(top("analysis", "caution", "caution.go"))
	require.NoError(t, err)
	rows := regexp.MustCompile(`(?m)^\t"(C\d\d)": ("(?:[^"\\]|\\.)*"),$`).FindAllStringSubmatch(string(source), -1)
	require.GreaterOrEqual(t, len(rows), 15)
	c := catalogue(t)
	for _, m := range rows {
		text, err := strconv.Unquote(m[2])
		require.NoError(t, err)
		assert.Equal(t, text, c.Say("en", "caution."+m[1]))
	}
}

// Every measure that the analysis can propose has words of its own: the forms in
// its source are filled in and looked up.
func TestEveryMeasureIsTranslated(t *testing.T) {
	source, err := os.ReadFile(top("analysis", "season", "improve.go"))
	require.NoError(t, err)
	forms := regexp.MustCompile(`"((?:hold|weigh,?|read|have|measure) (?:[^"\\]|\\.)*)"`).FindAllStringSubmatch(string(source), -1)
	require.GreaterOrEqual(t, len(forms), 11)
	v := &view{c: catalogue(t), Choice: display.Choice{Lang: "de", Comma: true}}
	for _, f := range forms {
		text := strings.NewReplacer("%q", `"yard: Loop out"`, "%g", "0.5", "%s", "loop.draw_l", "%%", "%").Replace(f[1])
		got := v.measure(text)
		assert.Empty(t, got.Lang, "no words for: %s", text)
		assert.NotContains(t, got.Text, "{", text)
		if strings.Contains(f[1], "%g") {
			assert.Contains(t, got.Text, "0,5", text)
		}
	}
}

func TestEveryWhyHasWords(t *testing.T) {
	c := catalogue(t)
	for text, key := range whys {
		assert.True(t, c.Has(key), "%s (%s)", key, text)
	}
}

func TestEveryStageFlagAndFindingHasWords(t *testing.T) {
	c := catalogue(t)
	for _, s := range work.Stages() {
		assert.True(t, c.Has("work.stage."+string(s)), s)
	}
	for kind, groups := range stagesOf {
		assert.True(t, c.Has("work.going."+kind), kind)
		for i, g := range groups {
			assert.True(t, c.Has("work.step."+string(g[0])+stepTail(kind, i)), "%s %s", kind, g[0])
		}
	}
	for _, f := range series.FlagNames {
		assert.True(t, c.Has("report.flag."+f), f)
	}
	source, err := os.ReadFile(top("analysis", "today", "codes.go"))
	require.NoError(t, err)
	says := regexp.MustCompile(`(?m)^\t[A-Z]\w+ +Finding = "([a-z-]+)"`).FindAllStringSubmatch(string(source), -1)
	require.Greater(t, len(says), 40)
	for _, m := range says {
		assert.True(t, c.Has("today."+m[1]), m[1])
	}
	for _, code := range []today.Code{today.CodeLogs, today.CodeMilk, today.CodeWashes, today.CodePlate, today.CodeLoop, today.CodeTank, today.CodeHeat, today.CodeBed, today.CodeCautions, today.CodeNext} {
		assert.True(t, c.Has("today.label."+string(code)), code)
	}
}

// What loop and plate are measured by has words here where the text view has some.
func TestEverySubjectOfTodayHasWords(t *testing.T) {
	source, err := os.ReadFile(top("reports", "lines", "lines.go"))
	require.NoError(t, err)
	_, list, ok := strings.Cut(string(source), "var subjects = map[string]string{")
	require.True(t, ok)
	list, _, _ = strings.Cut(list, "\n}")
	keys := regexp.MustCompile(`(?m)^\t"([a-z_]+)":`).FindAllStringSubmatch(list, -1)
	require.NotEmpty(t, keys)
	for _, m := range keys {
		assert.True(t, catalogue(t).Has("today.subject."+m[1]), m[1])
	}
}

func TestFiguresOfThePageHaveLabels(t *testing.T) {
	c := catalogue(t)
	for _, key := range c.Keys() {
		name, ok := strings.CutPrefix(key, "fig.")
		if !ok {
			continue
		}
		if _, known := results.FigureKey(name); !known {
			assert.Contains(t, []string{"money_not_spent", "money_spent", "draw_effectiveness"}, name, "no figure of results.json")
		}
	}
}

// A text that a template or a view asks for by a fixed key stands in the catalogue.
func TestTextsAskedForAreThere(t *testing.T) {
	c := catalogue(t)
	names, err := filepath.Glob(filepath.Join("pages", "*.tmpl"))
	require.NoError(t, err)
	code, err := filepath.Glob("*.go")
	require.NoError(t, err)
	asked := regexp.MustCompile(`(?:\{\{t|\(t| t|[vc]\.Say\(| say\(r,|v\.v\.Say\() ?"([a-z0-9]+(?:\.[a-zA-Z0-9_-]+)+)"`)
	found := 0
	for _, name := range append(names, code...) {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		b, err := os.ReadFile(name)
		require.NoError(t, err)
		for _, m := range asked.FindAllStringSubmatch(string(b), -1) {
			found++
			assert.True(t, c.Has(m[1]), "%s asks for %s", name, m[1])
		}
	}
	require.Greater(t, found, 150)
}

func TestProgressShare(t *testing.T) {
	v := &jobView{view: &view{c: catalogue(t)}, Job: job.Job{Kind: jobReport, State: job.Running}}
	last := -1
	for _, s := range work.Stages() {
		if s == work.StageBundle {
			continue
		}
		v.Progress = job.Progress{Stage: s}
		assert.Greater(t, v.Share(), last, s)
		last = v.Share()
	}
	assert.Less(t, last, 100)
}
