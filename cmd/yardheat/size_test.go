package main

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"yardheat/analysis/size"
	"yardheat/ingest/simfarm"
)

// sizeFarm is a simulated farm of a month with a loop.
func sizeFarm(t *testing.T) string {
	t.Helper()
	f, err := simfarm.Run(simfarm.Short(4))
	require.NoError(t, err)
	dir := filepath.Join(t.TempDir(), "farm")
	require.NoError(t, f.Write(dir))
	return dir
}

func TestSize(t *testing.T) {
	if testing.Short() {
		t.Skip("computes whole seasons")
	}
	dir := sizeFarm(t)
	try := func(want int, args ...string) (string, string) {
		var out, errs bytes.Buffer
		require.Equal(t, want, run(append([]string{"size"}, args...), nil, &out, &errs), errs.String())
		return out.String(), errs.String()
	}
	text, _ := try(exitDone, dir, "--length", "900")
	assert.Contains(t, text, "estimate")
	assert.Contains(t, text, "Not a measurement")
	assert.NotContains(t, text, "NaN")
	_, wrong := try(exitUsage, dir)
	assert.Contains(t, wrong, "nothing is changed")
	_, wrong = try(exitUsage, dir, "--draws", "500")
	assert.Contains(t, wrong, "do not fit into a day")
	_, wrong = try(exitUsage, dir, "--length", "-3")
	assert.Contains(t, wrong, "--length")
	out, _ := try(exitDone, dir, "--length", "900", "--json")
	var j map[string]any
	require.NoError(t, json.Unmarshal([]byte(out), &j))
	assert.Equal(t, true, j["estimate"])
	assert.NotEmpty(t, j["cautions"])
}

// Every remark has its sentence, and none says that anything is safe.
func TestSizeRemarksHaveWords(t *testing.T) {
	for _, code := range []string{size.RemarkBound, size.RemarkStore, size.RemarkPressure, size.RemarkFlux, size.RemarkUnseen, size.RemarkMisfit, size.RemarkNoSpacing,
		size.RemarkPlate, size.RemarkElement, size.RemarkTankLoss, size.RemarkDrawTank, size.RemarkLaminar, size.RemarkWarmStore, size.RemarkShort} {
		assert.NotEmpty(t, sizeRemarks[code], code)
	}
	assert.Len(t, sizeRemarks, 14)
	for _, text := range sizeCautions {
		assert.False(t, strings.Contains(text, "is safe") || strings.Contains(text, "conforms"))
	}
}
