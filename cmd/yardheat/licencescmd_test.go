package main

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestLicencesCommand(t *testing.T) {
	var short, full, errs bytes.Buffer
	require.Equal(t, exitDone, run([]string{"licences"}, strings.NewReader(""), &short, &errs), errs.String())
	require.Contains(t, short.String(), "font      Liberation fonts v0.5.0")
	require.Contains(t, short.String(), "script    uPlot 1.6.32")
	require.NotContains(t, short.String(), "Permission is hereby granted")
	require.Equal(t, exitDone, run([]string{"licences", "--full"}, strings.NewReader(""), &full, &errs), errs.String())
	require.True(t, strings.HasPrefix(full.String(), short.String()), "the list stands above the texts")
	require.Contains(t, full.String(), "Permission is hereby granted")
	require.Equal(t, exitUsage, run([]string{"licences", "all"}, strings.NewReader(""), &full, &errs))
}
