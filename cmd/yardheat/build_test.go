package main

import (
	"bytes"
	"runtime"
	"runtime/debug"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestVersionSaysTheBuild(t *testing.T) {
	settings := []debug.BuildSetting{{Key: "vcs", Value: "git"}, {Key: "vcs.revision", Value: "0123456789abcdef0123456789abcdef01234567"},
		{Key: "vcs.time", Value: "2026-01-02T03:04:05Z"}, {Key: "vcs.modified", Value: "false"}}
	s := stampOf(settings)
	require.Equal(t, stamp{revision: "0123456789abcdef0123456789abcdef01234567", time: "2026-01-02T03:04:05Z"}, s)
	require.Equal(t, "1.2.0+0123456789ab", stamped("1.2.0", s))
	settings[3].Value = "true"
	require.Equal(t, "1.2.0+0123456789ab.changed", stamped("1.2.0", stampOf(settings)))
	require.Equal(t, "dev", stamped("dev", stamp{}))
	require.Equal(t, "1.2.0+0123456789ab", stamped(stamped("1.2.0", s), s), "once")
}

func TestVersionFlag(t *testing.T) {
	var out, errs bytes.Buffer
	require.Equal(t, exitDone, run([]string{"--version"}, strings.NewReader(""), &out, &errs))
	require.Contains(t, out.String(), "yardheat "+version+"\n")
	require.Contains(t, out.String(), runtime.Version()+" for "+runtime.GOOS+"/"+runtime.GOARCH)
	require.Contains(t, out.String(), "revision")
}
