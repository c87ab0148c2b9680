package main

import (
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// sample is the folder audit, which `yardheat demo audit` wrote, made once for
// all tests that need the sample farm and its report; none writes to it.
var sample struct {
	once       sync.Once
	root, said string
	err        error
}

func TestMain(m *testing.M) {
	code := m.Run()
	if sample.root != "" {
		if err := os.RemoveAll(sample.root); err != nil && code == 0 {
			fmt.Fprintln(os.Stderr, err)
			code = 1
		}
	}
	os.Exit(code)
}

// sampleFarm is the folder of the sample farm, to be read only, and what its
// making printed.
func sampleFarm(t *testing.T) (dir, said string) {
	t.Helper()
	sample.once.Do(func() {
		if sample.root, sample.err = os.MkdirTemp("", "yardheat-sample-"); sample.err != nil {
			return
		}
		here, err := os.Getwd()
		if sample.err = err; err != nil {
			return
		}
		t.Chdir(sample.root)
		defer t.Chdir(here)
		code, out, errs := try(t, "demo", "audit")
		if sample.said = out; code != 0 {
			sample.err = fmt.Errorf("demo: status %d: %s", code, errs)
		}
	})
	require.NoError(t, sample.err)
	return filepath.Join(sample.root, "audit"), sample.said
}

// sampleHere copies it into the working folder, as if it had been made there.
func sampleHere(t *testing.T, name string) (said string) {
	t.Helper()
	require.Equal(t, "audit", name, "the farm is made under this name")
	here, err := os.Getwd()
	require.NoError(t, err)
	dir, said := sampleFarm(t)
	require.NoError(t, os.CopyFS(filepath.Join(here, name), os.DirFS(dir)))
	return said
}
