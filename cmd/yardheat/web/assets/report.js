// The charts of a report: fetched as numbers in the reader's units, drawn with
// uPlot. Every series is told apart by dash or mark as well as by colour, has a
// label at its line where there is room for it, beside that in the legend, and
// stands as a table under the chart.
"use strict";
(() => {
  const root = document.getElementById("charts-scripted");
  if (!root || !window.uPlot) return;
  const words = root.dataset, lang = words.lang, comma = words.comma === "true";
  const ink = "#1d241f", soft = "#4c544e", grid = "#dddfdc", paper = "#ffffff";
  // The colours are the report's; all have a contrast of 4.5 to 1 or more on white.
  const green = "#007a5a", blue = "#0072b2", vermillion = "#b84f00", purple = "#9c4f7e", black = "#1c1c1c", grey = "#5a5f5c";
  const styles = {
    out: { colour: vermillion, width: 2.2, dash: [] }, bed: { colour: green, width: 2, dash: [9, 4], mark: "circle" },
    feed: { colour: blue, width: 2, dash: [7, 3, 2, 3] }, tank: { colour: black, width: 2, dash: [2, 3], mark: "square" },
    in: { colour: blue, width: 1.6, dash: [2, 2] }, wash: { colour: purple, width: 2, dash: [] }, plate: { colour: blue, width: 2, dash: [], mark: "circle" },
    gas: { colour: grey, width: 2, dash: [5, 2] }, milk: { colour: purple, width: 2, dash: [6, 3] }, air: { colour: grey, width: 1.6, dash: [1, 3] },
    element: { colour: black, width: 2, dash: [4, 2, 1, 2] }, flow: { colour: grey, width: 2, dash: [3, 2] },
    yard: { colour: green, fill: "solid" }, milkheat: { colour: blue, fill: "stripes" }, socket: { colour: vermillion, fill: "hollow", mark: "triangle" },
    used: { colour: black, mark: "diamond" }, hot: { colour: green, mark: "circle" }, cool: { colour: vermillion, mark: "triangle" },
  };
  const number = (v, decimals) => {
    if (v === null || v === undefined) return words.wNone;
    let text = Math.abs(v).toFixed(decimals);
    let [whole, part] = text.split(".");
    whole = whole.replace(/\B(?=(\d{3})+$)/g, "\u202f");
    text = part ? whole + (comma ? "," : ".") + part : whole;
    return v < 0 && /[1-9]/.test(text) ? "−" + text : text;
  };
  const withUnit = (s, i) => s.text && s.text[i] ? s.text[i] : s.y[i] === null || s.y[i] === undefined ? words.wNone : number(s.y[i], s.decimals) + (s.unit ? "\u00a0" + s.unit : "");
  const make = (tag, attributes, ...children) => {
    const e = document.createElement(tag);
    for (const [k, v] of Object.entries(attributes || {})) k === "class" ? e.className = v : e.setAttribute(k, v);
    e.append(...children);
    return e;
  };

  // Times in the farm's own zone, across clock changes; UTC where the browser does
  // not know the zone.
  const clocks = (zone) => {
    let timeZone = zone;
    try { new Intl.DateTimeFormat("en", { timeZone }); } catch { timeZone = "UTC"; }
    const as = (locale, o) => new Intl.DateTimeFormat(locale, { timeZone, ...o });
    const day = as("sv-SE", { year: "numeric", month: "2-digit", day: "2-digit" });
    const moment = as("sv-SE", { year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit" });
    const hour = as("sv-SE", { hour: "2-digit", minute: "2-digit" });
    const short = as(lang, { day: "numeric", month: "short" }), month = as(lang, { month: "short", year: "2-digit" });
    return {
      timeZone, day: (s) => day.format(s * 1000), moment: (s) => moment.format(s * 1000), hour: (s) => hour.format(s * 1000),
      short: (s) => short.format(s * 1000), month: (s) => month.format(s * 1000), year: (s) => day.format(s * 1000).slice(0, 4),
    };
  };

  const sample = (s) => {
    const look = styles[s.style] || styles.flow, ns = "http://www.w3.org/2000/svg";
    const svg = document.createElementNS(ns, "svg");
    const part = (tag, attributes) => {
      const e = document.createElementNS(ns, tag);
      for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
      svg.append(e);
    };
    svg.setAttribute("width", 34);
    svg.setAttribute("height", 16);
    svg.setAttribute("aria-hidden", "true");
    if (s.kind === "bars") {
      part("rect", { x: 8, y: 2, width: 18, height: 12, fill: look.fill === "solid" ? look.colour : paper, stroke: look.colour, "stroke-width": 2 });
      if (look.fill === "stripes") for (const x of [11, 16, 21]) part("line", { x1: x, y1: 13, x2: x + 4, y2: 3, stroke: look.colour, "stroke-width": 2 });
    } else if (s.kind === "points") {
      const shapes = { circle: "M17 4a4 4 0 1 0 .01 0z", square: "M13 4h8v8h-8z", triangle: "M17 2.5l5 9.5h-10z", diamond: "M17 2l5 6-5 6-5-6z" };
      part("path", { d: shapes[look.mark || "circle"], fill: look.colour });
    } else {
      part("line", { x1: 1, y1: 8, x2: 33, y2: 8, stroke: look.colour, "stroke-width": look.width || 2, "stroke-dasharray": (s.dash || look.dash || []).join(" ") });
    }
    return svg;
  };

  const pattern = (look) => {
    if (look.fill === "solid") return look.colour;
    if (look.fill === "hollow") return paper;
    const c = document.createElement("canvas"), r = devicePixelRatio || 1;
    c.width = c.height = Math.round(8 * r);
    const ctx = c.getContext("2d");
    ctx.fillStyle = paper;
    ctx.fillRect(0, 0, c.width, c.height);
    ctx.strokeStyle = look.colour;
    ctx.lineWidth = 2.4 * r;
    ctx.beginPath();
    for (const at of [-1, 0, 1]) {
      ctx.moveTo((at - 0.25) * c.width, 1.25 * c.height);
      ctx.lineTo((at + 1.25) * c.width, -0.25 * c.height);
    }
    ctx.stroke();
    return ctx.createPattern(c, "repeat");
  };

  const mark = (ctx, shape, x, y, size) => {
    ctx.beginPath();
    switch (shape) {
      case "triangle": ctx.moveTo(x, y - 1.15 * size); ctx.lineTo(x + size, y + 0.75 * size); ctx.lineTo(x - size, y + 0.75 * size); break;
      case "diamond": ctx.moveTo(x, y - 1.2 * size); ctx.lineTo(x + size, y); ctx.lineTo(x, y + 1.2 * size); ctx.lineTo(x - size, y); break;
      case "square": ctx.rect(x - 0.85 * size, y - 0.85 * size, 1.7 * size, 1.7 * size); break;
      default: ctx.arc(x, y, size, 0, 7);
    }
    ctx.closePath();
    ctx.fill();
  };

  const groups = {}; // charts that share cursor and stretch

  class Chart {
    constructor(figure) {
      this.figure = figure;
      this.name = figure.dataset.chart;
      this.sync = figure.dataset.sync;
      this.plot = figure.querySelector(".plot");
      this.plot.setAttribute("aria-describedby", "keys-" + this.name);
      this.hidden = {};
      this.controls();
      this.listen();
      (groups[this.sync || this.name] ||= []).push(this);
      this.load();
    }

    // url of the numbers of a stretch.
    url(from, to) {
      const q = new URLSearchParams();
      const by = this.figure.querySelector("[data-by]"), draw = this.figure.querySelector("[data-draw]");
      if (by) q.set("by", by.value);
      if (draw && from === undefined && draw.value) [from, to] = draw.value.split("-").map(Number);
      if (from !== undefined) { q.set("from", Math.floor(from)); q.set("to", Math.ceil(to)); }
      if (this.sync && from === undefined) q.set("days", 7);
      q.set("points", Math.max(300, 2 * Math.round(this.plot.clientWidth || 600)));
      return words.base + this.name + "?" + q;
    }

    async load(from, to) {
      const ticket = this.ticket = {};
      let d;
      try {
        const answer = await fetch(this.url(from, to), { headers: { Accept: "application/json" } });
        if (!answer.ok) throw new Error(answer.status);
        d = await answer.json();
      } catch {
        if (ticket === this.ticket && !this.u) this.say(words.wFailed);
        return;
      }
      if (ticket !== this.ticket) return; // a later one is on its way
      if (d.why) {
        this.figure.classList.add("empty");
        this.say(d.why);
        return;
      }
      this.d = d;
      // Two of one kind, as the beds at two places, differ in their dashes.
      const kinds = {};
      for (const s of d.series) {
        const nth = kinds[s.style] = (kinds[s.style] || 0) + 1;
        if (nth > 1) s.dash = [[3, 3], [14, 4], [14, 3, 3, 3]][(nth - 2) % 3];
      }
      this.clock = clocks(d.zone);
      if (this.u && from !== undefined) {
        this.fresh = true;
        this.u.setData(this.data(), false);
        this.u.setScale("x", { min: from, max: to });
        this.fresh = false;
      } else {
        const draw = this.figure.querySelector("[data-draw]"), drawn = [d.x[0], d.x[d.x.length - 1]];
        this.span = draw ? drawn : this.padded(d.from, d.to);
        this.view = d.live ? drawn : this.span;
        this.build();
      }
      this.table();
    }

    padded(from, to) {
      if (this.d.live || this.d.stacked) return [from, to];
      const pad = Math.max((to - from) * 0.03, 3600);
      return [from - pad, to + pad];
    }

    // bars stand on each other: the sums, the last first, so that each is drawn over
    // the larger one behind it.
    order() {
      const bars = this.d.series.filter((s) => s.kind === "bars"), rest = this.d.series.filter((s) => s.kind !== "bars");
      return this.d.stacked ? [...bars.reverse(), ...rest] : this.d.series;
    }

    data() {
      this.series = this.order();
      const bars = this.d.stacked ? this.d.series.filter((s) => s.kind === "bars") : [];
      const lines = this.series.map((s) => {
        if (!bars.includes(s)) return s.y;
        const below = bars.slice(0, bars.indexOf(s) + 1).filter((b) => !this.hidden[b.label]);
        return s.y.map((_, i) => below.some((b) => b.y[i] !== null) ? below.reduce((sum, b) => sum + (b.y[i] || 0), 0) : null);
      });
      return [this.d.x, ...lines];
    }

    build() {
      if (this.u) this.u.destroy();
      this.plot.replaceChildren();
      const d = this.d, data = this.data();
      for (const s of this.series) if (!(s.label in this.hidden)) this.hidden[s.label] = !!s.hidden;
      // x is settled before the others, which ask what is in the stretch.
      const scales = { x: { time: true, min: this.view[0], max: this.view[1], range: (u, min, max) => (this.wanted = [min, max]) } };
      this.axes = d.axes.filter((a) => this.series.some((s) => s.axis === a.key && !this.hidden[s.label]));
      if (!this.axes.length) this.axes = d.axes.slice(0, 1);
      for (const a of d.axes) scales[a.key] = { range: (u) => this.range(u, a.key) };
      const font = "14px system-ui, sans-serif";
      const axes = [{ stroke: ink, font, grid: { stroke: grid, width: 1 }, ticks: { stroke: grid }, space: 78, values: (u, splits, _a, _s, step) => this.stamps(splits, step) }];
      this.axes.forEach((a, i) => axes.push({
        scale: a.key, side: i ? 1 : 3, stroke: ink, font, labelFont: "bold " + font, label: a.label, labelSize: 22, size: 58,
        grid: { show: i === 0, stroke: grid, width: 1 }, ticks: { stroke: grid },
        values: (u, splits, _a, _s, step) => splits.map((v) => number(v, step % 1 === 0 ? 0 : step * 10 % 1 === 0 ? 1 : 2)),
      }));
      const series = [{}, ...this.series.map((s) => this.line(s))];
      this.u = new uPlot({
        width: this.plot.clientWidth, height: this.height(), scales, axes, series, legend: { show: false }, padding: [10, this.axes.length > 1 ? 0 : 14, 0, 0],
        tzDate: (ts) => uPlot.tzDate(new Date(ts * 1000), this.clock.timeZone),
        cursor: { sync: this.sync ? { key: this.sync, setSeries: false } : undefined, drag: { x: true, y: false, uni: 20 }, focus: { prox: -1 }, points: { size: 8 } },
        hooks: { draw: [() => this.over()], setCursor: [() => this.read()], setScale: [(u, key) => key === "x" && this.moved()], init: [(u) => this.touch(u)] },
      }, data, this.plot);
      this.legend();
    }

    height() { return this.plot.clientWidth < 500 ? 270 : 330; }

    line(s) {
      const look = styles[s.style] || styles.flow;
      const out = { scale: s.axis, label: s.label, stroke: look.colour, width: look.width || 2, dash: s.dash || look.dash, show: !this.hidden[s.label], spanGaps: false, points: { show: false } };
      if (s.kind === "points") { out.paths = () => null; out.dash = []; }
      if (s.kind === "bars") {
        out.paths = uPlot.paths.bars({ size: [0.85, 1000], align: 1 });
        out.fill = () => pattern(look);
        out.dash = [];
        out.width = 1.5;
      }
      return out;
    }

    // range of an axis: what is in the stretch shown, with intervals and lines.
    range(u, key) {
      let low = Infinity, high = -Infinity;
      const take = (v) => { if (v !== null && v !== undefined) { low = Math.min(low, v); high = Math.max(high, v); } };
      const [min, max] = this.wanted || this.view, x = u.data[0];
      this.series.forEach((s, k) => {
        if (s.axis !== key || this.hidden[s.label]) return;
        for (let i = 0; i < x.length; i++) {
          if (x[i] < min - 86400 * 32 * !!this.d.stacked || x[i] > max) continue;
          take(u.data[k + 1][i]);
          if (s.low) { take(s.low[i]); take(s.high[i]); }
        }
      });
      for (const l of this.d.lines || []) if (l.axis === key) take(l.y);
      if (low > high) return [0, 1];
      if (this.d.stacked || key === "f" || key === "p") low = Math.min(0, low);
      const pad = (high - low || Math.abs(high) || 1) * 0.07;
      return [low === 0 ? 0 : low - pad, high + pad];
    }

    stamps(splits, step) {
      let last = "";
      return splits.map((s) => {
        if (step >= 28 * 86400) return this.clock.month(s);
        const day = this.clock.short(s);
        if (step >= 86400) return day;
        const hour = this.clock.hour(s), text = day === last ? hour : hour + "\n" + day;
        last = day;
        return text;
      });
    }

    // over draws marks with their intervals, lines that are limits, and the labels of
    // the lines.
    over() {
      const u = this.u || {}, ctx = u.ctx;
      if (!ctx) return;
      const r = devicePixelRatio || 1, { left, top, width, height } = u.bbox;
      ctx.save();
      ctx.beginPath();
      ctx.rect(left, top, width, height);
      ctx.clip();
      for (const l of this.d.lines || []) {
        const y = u.valToPos(l.y, l.axis, true);
        ctx.strokeStyle = ctx.fillStyle = ink;
        ctx.lineWidth = 1.5 * r;
        ctx.setLineDash([6 * r, 4 * r]);
        ctx.beginPath();
        ctx.moveTo(left, y);
        ctx.lineTo(left + width, y);
        ctx.stroke();
        ctx.setLineDash([]);
        this.label(ctx, l.label, left + width - 4 * r, y - 5 * r, ink, r);
      }
      const taken = [];
      this.series.forEach((s, k) => {
        if (this.hidden[s.label]) return;
        const look = styles[s.style] || styles.flow;
        if (s.kind === "points") this.marks(ctx, s, k, look, r);
        if (s.kind === "line" && width > 480 * r) this.tag(ctx, s, k, look, r, taken);
      });
      ctx.restore();
    }

    marks(ctx, s, k, look, r) {
      const u = this.u, ys = u.data[k + 1];
      ctx.fillStyle = ctx.strokeStyle = look.colour;
      ctx.lineWidth = 1.6 * r;
      // The marks of several series at one time stand beside each other, that of a
      // bar in its middle.
      const beside = this.d.stacked ? 0 : (k - (this.series.length - 1) / 2) * 5 * r * (s.low ? 1 : 0);
      u.data[0].forEach((x, i) => {
        if (ys[i] === null || ys[i] === undefined) return;
        const at = u.valToPos(this.d.stacked ? this.middle(i) : x, "x", true) + beside, y = u.valToPos(ys[i], s.axis, true);
        if (s.low && s.low[i] !== null && s.high[i] !== null) {
          const a = u.valToPos(s.low[i], s.axis, true), b = u.valToPos(s.high[i], s.axis, true);
          ctx.beginPath();
          ctx.moveTo(at, a); ctx.lineTo(at, b);
          for (const end of [a, b]) { ctx.moveTo(at - 4 * r, end); ctx.lineTo(at + 4 * r, end); }
          ctx.stroke();
        }
        mark(ctx, look.mark || "circle", at, y, (u.data[0].length > 150 ? 3.4 : 4.6) * r);
      });
    }

    // middle of a bar that stands on stamp i.
    middle(i) {
      const x = this.u.data[0], wide = x.length > 1 ? Math.min(...x.slice(1).map((v, j) => v - x[j])) : this.d.to - x[0];
      return x[i] + 0.425 * wide;
    }

    tag(ctx, s, k, look, r, taken) {
      const u = this.u, x = u.data[0], ys = u.data[k + 1], { min, max } = u.scales.x;
      for (let i = x.length - 1; i >= 0; i--) {
        if (x[i] > max || ys[i] === null || ys[i] === undefined) continue;
        if (x[i] < min) return;
        let y = u.valToPos(ys[i], s.axis, true) - 6 * r;
        while (taken.some((t) => Math.abs(t - y) < 17 * r)) y -= 17 * r;
        y = Math.max(y, u.bbox.top + 16 * r);
        taken.push(y);
        this.label(ctx, s.label, Math.min(u.valToPos(x[i], "x", true), u.bbox.left + u.bbox.width) - 4 * r, y, look.colour, r);
        return;
      }
    }

    label(ctx, text, x, y, colour, r) {
      ctx.font = "600 " + 13 * r + "px system-ui, sans-serif";
      ctx.textAlign = "right";
      ctx.lineJoin = "round";
      ctx.lineWidth = 4 * r;
      ctx.strokeStyle = paper;
      ctx.strokeText(text, x, y);
      ctx.fillStyle = colour;
      ctx.fillText(text, x, y);
    }

    controls() {
      const bar = make("div", { class: "chart-tools" });
      for (const [key, text, act] of [["in", "+", () => this.zoom(0.5)], ["out", "−", () => this.zoom(2)], ["earlier", "←", () => this.pan(-0.5)], ["later", "→", () => this.pan(0.5)], ["all", "", () => this.all()]]) {
        const word = words["w" + key[0].toUpperCase() + key.slice(1)];
        const b = make("button", { type: "button", class: "plain small" }, text || word);
        if (text) { b.setAttribute("aria-label", word); b.title = word; }
        b.addEventListener("click", act);
        bar.append(b);
      }
      this.keys = make("ul", { class: "chart-keys" });
      this.out = make("p", { class: "readout", "aria-live": "off" }, words.wHint);
      const help = make("p", { id: "keys-" + this.name, class: "hide" }, words.wKeys);
      this.box = make("details", { class: "chart-table" }, make("summary", {}, words.wTable));
      this.box.addEventListener("toggle", () => this.table());
      this.plot.before(bar, help);
      this.plot.after(this.out, this.keys, this.box);
    }

    say(text) { this.out.textContent = text; }

    legend() {
      this.keys.replaceChildren(...this.d.series.map((s) => {
        const b = make("button", { type: "button", class: "key", "aria-pressed": String(!this.hidden[s.label]) }, sample(s), " " + s.label);
        b.addEventListener("click", () => {
          this.hidden[s.label] = !this.hidden[s.label];
          b.setAttribute("aria-pressed", String(!this.hidden[s.label]));
          if (this.axes.some((a) => !this.uses(a)) || this.d.axes.some((a) => this.uses(a) && !this.axes.includes(a))) {
            this.view = this.shown();
            this.build();
            this.table();
            return;
          }
          this.u.batch(() => {
            if (this.d.stacked) this.u.setData(this.data(), false);
            this.u.setSeries(this.series.indexOf(s) + 1, { show: !this.hidden[s.label] });
          });
          this.u.redraw(true, true);
          this.table();
        });
        return make("li", {}, b);
      }));
    }

    uses(axis) { return this.series.some((s) => s.axis === axis.key && !this.hidden[s.label]); }

    shown() { return [this.u.scales.x.min, this.u.scales.x.max]; }

    go(from, to) {
      const [a, b] = this.span, least = this.d.live ? 600 : 86400;
      if (to - from < least) { const middle = (from + to) / 2; [from, to] = [middle - least / 2, middle + least / 2]; }
      if (to - from > b - a) [from, to] = [a, b];
      if (from < a) [from, to] = [a, a + to - from];
      if (to > b) [from, to] = [b - (to - from), b];
      this.u.setScale("x", { min: from, max: to });
    }

    zoom(by, at) {
      if (!this.u) return;
      const [a, b] = this.shown();
      at ??= this.u.cursor.left >= 0 ? this.u.posToVal(this.u.cursor.left, "x") : (a + b) / 2;
      this.go(at - (at - a) * by, at + (b - at) * by);
    }

    pan(share) {
      if (!this.u) return;
      const [a, b] = this.shown();
      this.go(a + share * (b - a), b + share * (b - a));
    }

    all() { if (this.u) this.go(...this.span); }

    // moved: the stretch shown is another; the numbers follow, and the charts that
    // share it.
    moved() {
      if (!this.u || this.fresh) return;
      const [from, to] = this.shown();
      clearTimeout(this.timer);
      this.timer = setTimeout(() => {
        if (this.d.live) this.load(from, to);
        else this.table();
        for (const other of groups[this.sync || this.name]) {
          if (other === this || !other.u) continue;
          const [a, b] = other.shown();
          if (Math.abs(a - from) > 1 || Math.abs(b - to) > 1) other.u.setScale("x", { min: from, max: to });
        }
      }, 120);
    }

    read() {
      const u = this.u;
      if (!u || u.cursor.idx === null || u.cursor.idx === undefined || u.cursor.left < 0) return;
      const i = u.cursor.idx, parts = this.d.series.filter((s) => !this.hidden[s.label] && (s.kind === "line" || s.y[i] !== null)).map((s) => s.label + ": " + withUnit(s, i));
      this.say(this.stamp(this.d.x[i]) + " · " + parts.join(" · "));
    }

    stamp(s) { return this.d.day ? this.clock.day(s) : this.clock.moment(s); }

    listen() {
      this.plot.addEventListener("keydown", (e) => {
        if (!this.u || e.ctrlKey || e.metaKey || e.altKey) return;
        const acts = {
          ArrowLeft: () => this.step(e.shiftKey ? -10 : -1), ArrowRight: () => this.step(e.shiftKey ? 10 : 1), "+": () => this.zoom(0.5), "=": () => this.zoom(0.5), "-": () => this.zoom(2),
          Home: () => this.all(), PageUp: () => this.pan(-0.5), PageDown: () => this.pan(0.5),
        };
        if (!acts[e.key]) return;
        e.preventDefault();
        this.out.setAttribute("aria-live", "polite");
        acts[e.key]();
      });
      this.plot.addEventListener("wheel", (e) => {
        if (!this.u || !(e.ctrlKey || this.plot.contains(document.activeElement))) return; // else the page scrolls
        e.preventDefault();
        const over = this.u.over.getBoundingClientRect();
        this.zoom(e.deltaY > 0 ? 1.25 : 0.8, this.u.posToVal(e.clientX - over.left, "x"));
      }, { passive: false });
      for (const choice of this.figure.querySelectorAll("select")) {
        choice.addEventListener("change", () => {
          if (this.u) { this.u.destroy(); this.u = null; }
          this.load();
        });
      }
      this.plot.addEventListener("mousedown", () => { this.out.setAttribute("aria-live", "off"); this.plot.focus({ preventScroll: true }); });
      new ResizeObserver(() => {
        if (this.u && this.u.width !== this.plot.clientWidth && this.plot.clientWidth) this.u.setSize({ width: this.plot.clientWidth, height: this.height() });
      }).observe(this.plot);
    }

    step(by) {
      const x = this.u.data[0], [a, b] = this.shown();
      let i = this.u.cursor.idx;
      if (i === null || i === undefined || x[i] < a || x[i] > b) i = x.findIndex((v) => v >= (a + b) / 2);
      else i += by;
      i = Math.max(x.findIndex((v) => v >= a), Math.min(i, x.findLastIndex((v) => v <= b)));
      if (i < 0) return;
      for (const c of groups[this.sync || this.name]) if (c.u) c.u.setCursor({ left: c.u.valToPos(x[i], "x"), top: c.u.over.clientHeight / 2 });
    }

    // touch: one finger reads values, two zoom.
    touch(u) {
      const fingers = new Map();
      let before = 0;
      const width = () => { const [p, q] = [...fingers.values()]; return Math.abs(p.clientX - q.clientX) || 1; };
      u.over.addEventListener("pointerdown", (e) => {
        if (e.pointerType !== "touch") return;
        fingers.set(e.pointerId, e);
        if (fingers.size === 2) before = width();
      });
      u.over.addEventListener("pointermove", (e) => {
        if (!fingers.has(e.pointerId)) return;
        fingers.set(e.pointerId, e);
        const left = u.over.getBoundingClientRect().left;
        if (fingers.size === 2) {
          const now = width(), [p, q] = [...fingers.values()];
          this.zoom(before / now, u.posToVal((p.clientX + q.clientX) / 2 - left, "x"));
          before = now;
        } else {
          u.setCursor({ left: e.clientX - left, top: 10 });
        }
      });
      for (const end of ["pointerup", "pointercancel", "pointerleave"]) u.over.addEventListener(end, (e) => fingers.delete(e.pointerId));
    }

    // table holds what the chart shows, as far as it is open.
    table(rows = 40) {
      if (!this.box.open || !this.u) return;
      const series = this.d.series.filter((s) => !this.hidden[s.label]), [a, b] = this.shown();
      const all = [];
      this.d.x.forEach((x, i) => { if (x >= a - 86400 * 31 * !!this.d.stacked && x <= b && series.some((s) => s.y[i] !== null)) all.push(i); });
      const head = make("tr", {}, make("th", { scope: "col" }, this.d.day ? words.wDay : words.wTime), ...series.map((s) => make("th", { scope: "col" }, s.label + (s.unit && !s.text ? " (" + s.unit + ")" : ""))));
      const body = all.slice(0, rows).map((i) => make("tr", {}, make("th", { scope: "row" }, this.stamp(this.d.x[i])), ...series.map((s) => make("td", {}, s.text && s.text[i] ? s.text[i] : s.y[i] === null ? "" : number(s.y[i], s.decimals)))));
      const caption = make("caption", {}, this.figure.querySelector("figcaption").textContent + ": " + Math.min(rows, all.length) + " / " + all.length + " " + words.wRows);
      const table = make("table", {}, caption, make("thead", {}, head), make("tbody", {}, ...body));
      const parts = [make("div", { class: "scroll", role: "region", tabindex: "0", "aria-label": words.wTable + ": " + this.figure.querySelector("figcaption").textContent }, table)];
      if (all.length > rows) {
        const more = make("button", { type: "button", class: "plain small" }, words.wMore);
        more.addEventListener("click", () => this.table(rows + 200));
        parts.push(more);
      }
      this.box.replaceChildren(this.box.firstElementChild, ...parts);
    }
  }

  root.hidden = false;
  for (const e of document.querySelectorAll(".scripted")) e.hidden = false;
  document.getElementById("charts-plain").hidden = true;
  // Those in view first, the others one by one: they are there when the page is
  // printed.
  const figures = [...root.querySelectorAll("figure.chart")];
  const begin = async () => {
    for (const f of figures) {
      new Chart(f);
      await new Promise((next) => setTimeout(next, 60));
    }
  };
  begin();
})();
