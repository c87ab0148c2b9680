package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"strings"

	"yardheat/reports/record"
)

// revisionDigits of a revision stand in a version; sources.json and the page's
// part for the auditor have all of it.
const revisionDigits = 12

// Every report says its version, so the version says the build: "1.2.0+8d3…".
func init() { version = stamped(version, build()) }

// stamp is what the build noted of the sources: a revision, its time as written
// by the version control, and whether there were changes that it does not hold.
type stamp struct {
	revision, time string
	modified       bool
}

func build() stamp {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return stamp{}
	}
	return stampOf(info.Settings)
}

func stampOf(settings []debug.BuildSetting) stamp {
	var s stamp
	for _, one := range settings {
		switch one.Key {
		case "vcs.revision":
			s.revision = one.Value
		case "vcs.time":
			s.time = one.Value
		case "vcs.modified":
			s.modified = one.Value == "true"
		}
	}
	return s
}

// stamped is a version with its revision, as semantic versioning writes what a
// build adds: behind a plus, "changed" where the sources were not as committed.
func stamped(version string, s stamp) string {
	if s.revision == "" || strings.Contains(version, "+") {
		return version
	}
	version += "+" + s.revision[:min(revisionDigits, len(s.revision))]
	if s.modified {
		version += ".changed"
	}
	return version
}

// versionText is what --version prints, as a template without anything to fill in.
func versionText() string {
	s := build()
	var b strings.Builder
	fmt.Fprintf(&b, "yardheat %s\n", version)
	switch {
	case s.revision == "":
		b.WriteString("revision: not stamped into this build\n")
	case s.modified:
		fmt.Fprintf(&b, "revision: %s of %s, with changes that it does not hold\n", s.revision, s.time)
	default:
		fmt.Fprintf(&b, "revision: %s of %s\n", s.revision, s.time)
	}
	fmt.Fprintf(&b, "built by: %s for %s/%s\n", runtime.Version(), runtime.GOOS, runtime.GOARCH)
	return strings.ReplaceAll(b.String(), "{{", "")
}

// program says which program this is, for sources.json: its revision where the
// build noted one.
func program() record.Program {
	s := build()
	return record.Program{Version: version, Revision: s.revision, Modified: s.modified,
		Go: runtime.Version(), OS: runtime.GOOS, Arch: runtime.GOARCH}
}
