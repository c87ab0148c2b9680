package reports

import (
	"fmt"

	"yardheat/analysis/season"
	"yardheat/ingest/work"
	"yardheat/reports/chart"
	"yardheat/reports/page"
)

// writePage draws the charts, and writes them and the page that holds them.
func writePage(d *fresh, s *season.Season, opt Options) error {
	work.Check(opt.Context)
	charts, err := chart.All(s, chart.Options{PNG: opt.PNG, Context: opt.Context})
	if err != nil {
		return fmt.Errorf("charts: %w", err)
	}
	for _, c := range charts {
		if err := writeChart(d, c); err != nil {
			return err
		}
	}
	work.Check(opt.Context)
	html, err := page.HTML(s, charts, page.Options{Version: opt.Version})
	if err != nil {
		return fmt.Errorf("%s: %w", pageName, err)
	}
	return d.bytes(pageName, html)
}

// writeChart leaves out what could not be drawn, and refuses a name that the next run would not know for ours.
func writeChart(d *fresh, c chart.Chart) error {
	if !plainName(c.Name) {
		return fmt.Errorf("chart %q: a chart's name is of a-z, 0-9 and hyphens", c.Name)
	}
	for _, picture := range []struct {
		tail  string
		bytes []byte
	}{{".svg", c.SVG}, {".png", c.PNG}} {
		if picture.bytes == nil { // nothing to draw; the page says why
			continue
		}
		if err := d.bytes(chartsDir+"/"+c.Name+picture.tail, picture.bytes); err != nil {
			return err
		}
	}
	return nil
}
