package reports

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"yardheat/reports/internal/fixture"
)

// A folder that a desktop looked into is still a report of ours.
func TestDesktopLitterIsNobodysWork(t *testing.T) {
	out := filepath.Join(t.TempDir(), "report")
	opt := Options{Now: time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC), Version: "test"}
	if err := Write(out, fixture.Season(), opt); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{".DS_Store", "Thumbs.db"} {
		if err := os.WriteFile(filepath.Join(out, name), []byte("x"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := CheckOut(out); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(out, "notes.txt"), []byte("mine"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := CheckOut(out); err == nil {
		t.Fatal("a note of somebody's own must be refused")
	}
}
