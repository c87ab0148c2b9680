package main

import (
	"encoding/json"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"yardheat/ingest"
	"yardheat/ingest/logs"
	"yardheat/ingest/look"
	"yardheat/ingest/table"
)

// lookFlags are the options of `yardheat look`: settings of a [[log]] that
// settle what a file leaves open.
type lookFlags struct {
	json                                      bool
	decimal, dates, separator, encoding, zone string
	sheet                                     string
	header                                    int
}

func (a *app) lookCommand() *cobra.Command {
	f := lookFlags{header: -1}
	cmd := &cobra.Command{
		Use:   "look FILE...",
		Short: "Say what logger files hold, before any farm file exists",
		Long: `Says of each file how it is written, which time it covers, at what interval and
with which gaps, and what each column holds: unit, kind, range, a guessed quantity
with the reason, and a picture of ten points. What the file alone cannot settle is
listed with the option here, and the key in farm.toml, that settles it. Nothing is
written.`,
		Example: `  yardheat look yard.csv
  yardheat look --dates dmy --decimal , yard.csv
  yardheat look --json *.csv *.xlsx`,
		Args: atLeast(1, "one file at least"),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.look(args, f)
		},
	}
	fl := cmd.Flags()
	fl.BoolVar(&f.json, "json", false, "print an array, one object for each table, and nothing else")
	fl.StringVar(&f.decimal, "decimal", "", "decimal mark: . or ,")
	fl.StringVar(&f.dates, "dates", "", "order of dates: dmy, mdy or ymd")
	fl.StringVar(&f.separator, "separator", "", "between cells: , ; | or tab")
	fl.StringVar(&f.encoding, "encoding", "", "encoding of the text, such as windows-1252")
	fl.StringVar(&f.zone, "zone", "", "zone of stamps that state none: Europe/Rome, UTC, +01:00")
	fl.StringVar(&f.sheet, "sheet", "", "sheet of a workbook")
	fl.IntVar(&f.header, "header", -1, "line of the header, 0 = none")
	return cmd
}

// options turns the flags into look's options; what is wrong with them is a
// wrong command line.
func (f lookFlags) options(a *app) (look.Options, error) {
	sep := f.separator
	if sep == "tab" {
		sep = "\t"
	}
	opt := look.Options{Table: table.Options{Sheet: f.sheet, Encoding: f.encoding, Separator: sep, Decimal: f.decimal}, Zone: f.zone, Dates: f.dates, Now: a.now()}
	if f.header >= 0 {
		opt.Table.Header = &f.header
	}
	if err := opt.Validate(); err != nil {
		return opt, usageError{fmt.Errorf("%w; see: yardheat look --help", err)}
	}
	return opt, nil
}

// look describes every file that can be read, then says which cannot.
func (a *app) look(paths []string, f lookFlags) error {
	opt, err := f.options(a)
	if err != nil {
		return err
	}
	tables, err := a.lookAt(paths, opt)
	if f.json {
		if tables == nil {
			tables = []look.Table{}
		}
		if jerr := writeJSON(a.stdout, tables); jerr != nil {
			return jerr
		}
		return err
	}
	for i := range tables {
		if i > 0 {
			fmt.Fprintln(a.stdout)
		}
		printTable(a.stdout, &tables[i], asciiOnly())
	}
	return err
}

// lookAt describes the files; the error lists all that cannot be used.
func (a *app) lookAt(paths []string, opt look.Options) ([]look.Table, error) {
	var tables []look.Table
	bad := &ingest.InputError{}
	p := a.newProgress()
	defer p.done()
	for i, path := range paths {
		p.step("looking at file %d of %d", i+1, len(paths))
		some, err := look.File(path, opt)
		if err != nil {
			var e *table.Error
			if !errors.As(err, &e) {
				return tables, err
			}
			bad.Faults = append(bad.Faults, logs.AsFault(path, err))
			continue
		}
		tables = append(tables, some...)
	}
	if len(bad.Faults) > 0 {
		return tables, bad
	}
	return tables, nil
}

func writeJSON(w interface{ Write([]byte) (int, error) }, v any) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}

// atLeast is cobra's check with our exit status.
func atLeast(n int, what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) < n {
			return usageError{fmt.Errorf("want %s; see: yardheat %s --help", what, cmd.Name())}
		}
		return nil
	}
}
