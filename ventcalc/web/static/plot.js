"use strict";
// Plots with read-out and zoom in the page's own colours. Whoever cannot see them has a table.
const plots = (() => {
  const drawn = new Map(); // place -> {plot, spec}
  const DAY = 86400;
  const TOOLS = [["+", "Zoom in", 0.5], ["−", "Zoom out", 2], ["All", "Show all", Infinity]];
  const MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");

  const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const utc = (t) => new Date(t * 1000);
  const day = (t) => `${utc(t).getUTCDate()} ${MONTHS[utc(t).getUTCMonth()]}`;
  const year = (t) => String(utc(t).getUTCFullYear());
  const clock = (t) => utc(t).toISOString().slice(11, 16);

  // Times are the store's local time, counted as if they were UTC: no browser shifts them.
  function tick(spec, t, step, last) {
    const fresh = last === undefined || year(last) !== year(t);
    const named = fresh && spec.years !== false ? `\n${year(t)}` : "";
    if (step >= 27 * DAY) return MONTHS[utc(t).getUTCMonth()] + named;
    return step >= DAY || t % DAY === 0 ? day(t) + named : clock(t);
  }

  const dates = (spec) => (_u, at, _axis, _space, step) =>
    at.map((t, n) => tick(spec, t, step, at[n - 1]));

  const stamp = (spec, t) =>
    day(t) + (spec.years === false ? "" : ` ${year(t)}`) + (spec.daily ? "" : `, ${clock(t)}`);

  function text(spec, value) {
    if (value == null) return "–";
    return `${value.toFixed(spec.digits ?? 1).replace("-", "−")} ${spec.unit || ""}`.trim();
  }

  // An area between two lines is told by both.
  function told(spec, u, value, place, at) {
    const band = (spec.bands || []).find(({ high }) => high === place - 1);
    const edge = !band || spec.series[band.high].width !== 0;
    const low = edge || at == null ? null : u.data[band.low + 1][at];
    if (low == null || value == null) return text(spec, value);
    return `${text({ ...spec, unit: "" }, low)} to ${text(spec, value)}`;
  }

  // Zoomed in, the y axis follows what is seen.
  const scaleOf = (spec) => (u, low, high) => {
    const [from, to] = u.series[0].idxs || [0, u.data[0].length - 1];
    if (low == null || to - from > 0.98 * (u.data[0].length - 1)) return spec.range;
    return uPlot.rangeNum(low, high, 0.1, true);
  };

  const border = (one) => (!one.dash?.length ? "solid" : one.dash[0] < 4 ? "dotted" : "dashed");
  const amount = (value) => (value == null ? "" : value.toLocaleString("en").replace("-", "−"));

  function seriesOf(spec) {
    return spec.series.map((one) => {
      const stroke = css(one.color || "--ink");
      return {
        label: one.label,
        stroke: one.width === 0 ? "transparent" : stroke,
        width: one.width ?? 2,
        dash: one.dash || [],
        points: { show: Boolean(one.points), size: 8, fill: stroke },
        value: (u, v, place, at) => told(spec, u, v, place, at),
        spanGaps: false,
      };
    });
  }

  function pen(u, below) {
    const { ctx } = u;
    const size = devicePixelRatio;
    ctx.font = `${12 * size}px system-ui, sans-serif`;
    ctx.textBaseline = below ? "top" : "alphabetic";
    ctx.textAlign = "left";
    ctx.lineJoin = "round";
    return size;
  }

  // Words with a rim of paper, so that lines do not run through them.
  function words(ctx, size, text, x, y, color) {
    ctx.setLineDash([]);
    ctx.lineWidth = 4 * size;
    ctx.strokeStyle = css("--paper");
    ctx.strokeText(text, x, y);
    ctx.fillStyle = css(color);
    ctx.fillText(text, x, y);
  }

  const clipped = (u, spec) =>
    (spec.spans || []).map(([from, to, text]) => [
      Math.max(u.valToPos(from, "x", true), u.bbox.left),
      Math.min(u.valToPos(to, "x", true), u.bbox.left + u.bbox.width),
      text,
    ]);

  const behind = (spec) => (u) => {
    clipped(u, spec).forEach(([left, right, text], n) => {
      if (right <= left) return;
      u.ctx.fillStyle = css(n % 2 || !text ? "--span-b" : "--span-a");
      u.ctx.fillRect(left, u.bbox.top, right - left, u.bbox.height);
    });
  };

  // Above the lines: names of spans, levels, named points, and the unit over the y axis.
  const before = (spec) => (u) => {
    const { ctx, bbox } = u;
    ctx.save();
    const size = pen(u, true);
    for (const [left, right, text] of clipped(u, spec)) {
      if (ctx.measureText(text).width + 10 * size > right - left) continue;
      ctx.fillStyle = css("--quiet");
      ctx.fillText(text, left + 5 * size, bbox.top + 6 * size);
    }
    pen(u, false);
    for (const { y, label, color, dash } of spec.levels || []) {
      const at = u.valToPos(y, "y", true);
      if (at < bbox.top || at > bbox.top + bbox.height) continue;
      ctx.strokeStyle = css(color);
      ctx.lineWidth = size;
      ctx.setLineDash(dash.map((d) => d * size));
      ctx.beginPath();
      ctx.moveTo(bbox.left, at);
      ctx.lineTo(bbox.left + bbox.width, at);
      ctx.stroke();
      ctx.textAlign = "right";
      words(ctx, size, label, bbox.left + bbox.width - 5 * size, at - 5 * size, "--quiet");
    }
    for (const { x, y, label, color } of spec.marks || []) {
      const [left, top] = [u.valToPos(x, "x", true), u.valToPos(y, "y", true)];
      if (left < bbox.left || left > bbox.left + bbox.width) continue;
      ctx.fillStyle = css(color);
      ctx.beginPath();
      ctx.arc(left, top, 4 * size, 0, 2 * Math.PI);
      ctx.fill();
      const turned = left > bbox.left + 0.6 * bbox.width;
      ctx.textAlign = turned ? "right" : "left";
      words(ctx, size, label, left + (turned ? -8 : 8) * size, top - 8 * size, "--ink");
    }
    ctx.textAlign = "left";
    ctx.fillStyle = css("--quiet");
    ctx.fillText(spec.yLabel || "", 4 * size, bbox.top - 16 * size);
    ctx.restore();
  };

  function optionsOf(spec, width) {
    const axis = {
      stroke: css("--quiet"),
      font: "12px system-ui, sans-serif",
      grid: { stroke: css("--grid"), width: 1 },
      ticks: { show: false },
    };
    const round = [1, 2, 5].flatMap((n) => [-3, -2, -1, 0, 1, 2, 3, 4, 5].map((k) => n * 10 ** k));
    round.sort((a, b) => a - b);
    const scale = spec.range ? { range: scaleOf(spec) } : {};
    return {
      width,
      height: spec.height || Math.max(240, Math.min(340, Math.round(width * 0.4))),
      padding: [spec.yLabel ? 36 : 12, spec.time ? 22 : 30, 0, 0],
      tzDate: (seconds) => uPlot.tzDate(new Date(seconds * 1000), "Etc/UTC"),
      scales: {
        x: { time: Boolean(spec.time) },
        y: scale,
      },
      axes: [
        spec.time
          ? { ...axis, space: 76, values: dates(spec) }
          : { ...axis, label: spec.xLabel, labelFont: "12px system-ui, sans-serif", labelSize: 20 },
        { ...axis, size: 52, incrs: round, values: (_, at) => at.map(amount) },
      ],
      series: [
        {
          label: spec.time ? spec.xLabel || "Time" : spec.xLabel,
          value: (_, t) => (t == null ? "" : spec.time ? stamp(spec, t) : t.toFixed(2)),
        },
        ...seriesOf(spec),
      ],
      bands: (spec.bands || []).map(({ high, low, color }) => ({
        series: [high + 1, low + 1],
        fill: css(color || "--accent") + "38",
      })),
      cursor: {
        drag: { x: true, y: false, dist: 6 },
        points: { size: (_, n) => (spec.series[n - 1]?.quiet ? 0 : 7) },
        y: false,
        sync: spec.sync ? { key: spec.sync, setSeries: false, scales: ["x", null] } : undefined,
      },
      legend: { markers: { width: 3, dash: (_, n) => border(spec.series[n - 1]) } },
      hooks: { drawClear: [behind(spec)], draw: [before(spec)] },
    };
  }

  // --- zoom by buttons and keys, read-out by keys and by a finger --------------------------------

  const whole = (plot) => [plot.data[0][0], plot.data[0][plot.data[0].length - 1]];

  function zoom(plot, factor) {
    const [first, last] = whole(plot);
    const { min, max } = plot.scales.x;
    const at = plot.cursor.left >= 0 ? plot.posToVal(plot.cursor.left, "x") : (min + max) / 2;
    const half = Math.max(((max - min) * factor) / 2, (last - first) / 400);
    for (const one of alike(plot)) {
      const [start, end] = whole(one);
      const near = { min: Math.max(at - half, start), max: Math.min(at + half, end) };
      one.setScale("x", factor === Infinity ? { min: start, max: end } : near);
    }
  }

  function alike(plot) {
    const key = drawn.get(plot.root.parentElement)?.spec.sync;
    if (!key) return [plot];
    return [...drawn.values()].filter((one) => one.spec.sync === key).map((one) => one.plot);
  }

  function move(plot, steps) {
    const x = plot.data[0];
    const { min, max } = plot.scales.x;
    const start = plot.cursor.idx ?? plot.valToIdx((min + max) / 2);
    const idx = Math.max(0, Math.min(x.length - 1, start + steps));
    plot.setCursor({ left: plot.valToPos(x[idx], "x"), top: 10 });
  }

  function keys(place) {
    place.addEventListener("keydown", (event) => {
      const plot = drawn.get(place)?.plot;
      if (!plot) return;
      const step = Math.max(1, Math.round((plot.data[0].length * (event.shiftKey ? 0.05 : 0.004))));
      const does = {
        ArrowLeft: () => move(plot, -step),
        ArrowRight: () => move(plot, step),
        "+": () => zoom(plot, 0.5),
        "-": () => zoom(plot, 2),
        Escape: () => zoom(plot, Infinity),
      }[event.key];
      if (!does) return;
      event.preventDefault();
      does();
    });
    place.addEventListener("pointermove", (event) => {
      const plot = drawn.get(place)?.plot;
      if (!plot || event.pointerType === "mouse") return;
      const box = plot.over.getBoundingClientRect();
      plot.setCursor({ left: event.clientX - box.left, top: event.clientY - box.top });
    });
  }

  function tools(place) {
    const bar = document.createElement("div");
    bar.className = "tools";
    const name = place.getAttribute("aria-label") || "the plot";
    for (const [sign, words, factor] of TOOLS) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = sign;
      button.title = words;
      button.setAttribute("aria-label", `${words}: ${name}`);
      button.addEventListener("click", () => zoom(drawn.get(place).plot, factor));
      bar.append(button);
    }
    place.before(bar);
  }

  // --- what pages call ---------------------------------------------------------------------------

  /** Places may be told as even steps. */
  function dataOf({ x, series }) {
    const even = (_, n) => x.first + n * x.step;
    const places = Array.isArray(x) ? x : Array.from({ length: x.count }, even);
    return [places, ...series.map((one) => one.y)];
  }

  function draw(place, spec) {
    drawn.get(place)?.plot.destroy();
    if (!drawn.has(place)) {
      keys(place);
      new ResizeObserver(() => resize(place)).observe(place);
    }
    const plot = new uPlot(optionsOf(spec, place.clientWidth), dataOf(spec), place);
    const rows = plot.root.querySelectorAll(".u-series");
    spec.series.forEach((one, n) => {
      rows[n + 1].hidden = Boolean(one.quiet);
      const band = (spec.bands || []).find(({ high }) => high === n);
      const marker = rows[n + 1].querySelector(".u-marker");
      if (band) {
        marker.classList.add("band");
        marker.style.background = css(band.color) + "38";
      }
    });
    plot.root.setAttribute("aria-hidden", "true"); // the figure's name and its table speak for it
    drawn.set(place, { plot, spec });
    return plot;
  }

  function resize(place) {
    const one = drawn.get(place);
    if (!one || !place.clientWidth || Math.abs(place.clientWidth - one.plot.width) < 2) return;
    const { width, height } = optionsOf(one.spec, place.clientWidth);
    one.plot.setSize({ width, height });
  }

  /** New numbers for a plot that stands; its zoom stays. */
  function update(place, spec) {
    const one = drawn.get(place);
    const names = (of) => of.series.map((s) => s.label).join("|");
    if (!one || names(one.spec) !== names(spec)) return draw(place, spec);
    one.spec = spec;
    one.plot.setData(dataOf(spec));
    return one.plot;
  }

  function redraw() {
    forget();
    for (const [place, { spec }] of [...drawn]) draw(place, spec);
  }

  /** Plots that the page has put away. */
  function forget() {
    for (const [place, { plot }] of [...drawn]) {
      if (place.isConnected) continue;
      plot.destroy();
      drawn.delete(place);
    }
  }

  /** Every figure that carries the numbers of its plot; its picture then waits for paper. */
  function all() {
    if (typeof uPlot === "undefined") return;
    forget();
    for (const figure of document.querySelectorAll("figure[data-plot]:not(.live)")) {
      const place = document.createElement("div");
      place.className = "chart";
      place.tabIndex = 0;
      place.setAttribute("role", "group");
      place.setAttribute("aria-label", figure.dataset.plot);
      figure.querySelector("svg").after(place);
      figure.classList.add("live");
      tools(place);
      draw(place, JSON.parse(figure.querySelector('script[type="application/json"]').textContent));
    }
  }

  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
  addEventListener("DOMContentLoaded", all);
  const shown = () => [...drawn.values()].map((one) => one.plot);
  return { all, draw, update, redraw, shown };
})();
