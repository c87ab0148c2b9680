package results

import "yardheat/analysis/season"

func (w *writer) bed(s *season.Season) {
	l := s.BedLook
	w.object("bed", func() {
		w.figures(s.Bed, bedFigures...)
		w.number("most_w_per_m2", l.MostWPerM2)
		if l.MostFromMS != 0 {
			w.at("most_from", l.MostFromMS)
		}
		w.list("since", len(l.Since), func(i int) {
			x := l.Since[i]
			w.text("what", x.What)
			w.at("from", x.FromMS)
			w.at("to", x.ToMS)
			w.number("days", x.Days)
			w.number("heat_kwh", x.KWh)
			w.number("heat_kwh_per_day", x.KWhPerDay)
			w.number("heat_kwh_per_m2", x.KWhPerM2)
			w.number("tonnes", x.Tonnes)
			w.number("heat_kwh_per_tonne", x.KWhPerTonne)
			w.number("bed_c", x.BedC)
		})
		w.list("signs", len(l.Signs), func(i int) {
			x := l.Signs[i]
			w.text("sign", x.Code)
			w.text("state", x.State)
			w.number("value", x.Value)
			w.number("limit", x.Limit)
			w.text("unit", x.Unit)
			w.text("why", x.Why)
		})
		w.list("days", len(l.Days), func(i int) {
			x := l.Days[i]
			w.at("from", x.FromMS)
			w.number("heat_kwh", x.KWh)
			w.number("heat_w_per_m2", x.WPerM2)
			w.int("draws", x.Draws)
			w.number("bed_c", x.BedC)
			w.number("air_c", x.AirC)
			w.number("since_bedded_d", x.SinceBedded)
			w.number("since_cleared_d", x.SinceCleared)
		})
	})
}

func (w *writer) geometry(g season.Geometry) {
	w.object("geometry", func() {
		w.text("why", g.Why)
		w.number("spacing_m", g.SpacingM)
		w.number("flow_l_min", g.FlowLMin)
		w.number("water_c", g.WaterC)
		w.number("reynolds", g.Reynolds)
		w.number("medium_low_w_per_m_k", g.MediumWPerMK.Low)
		w.number("medium_high_w_per_m_k", g.MediumWPerMK.High)
		w.number("expected_low_w_per_k", g.ExpectedWPerK.Low)
		w.number("expected_high_w_per_k", g.ExpectedWPerK.High)
		w.number("bare_w_per_k", g.BareWPerK)
		w.number("film_share", g.FilmShare)
		w.number("wall_share", g.WallShare)
		w.figure("medium_fitted_w_per_m_k", g.MediumFitted)
		verdict := g.Verdict
		if verdict == "" {
			verdict = season.GeometryUnknown
		}
		w.text("verdict", verdict)
		w.text("text", g.Text)
	})
}
