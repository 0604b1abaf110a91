"use strict";
// Plots with read-out and zoom in the page's own colours. Whoever cannot see them has a table.
const plots = (() => {
  const drawn = new Map(); // place -> {plot, spec}
  const DAY = 86400;
  const MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");

  const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const day = (t) => `${new Date(t * 1000).getUTCDate()} ${MONTHS[new Date(t * 1000).getUTCMonth()]}`;
  const year = (t) => String(new Date(t * 1000).getUTCFullYear());
  const clock = (t) => new Date(t * 1000).toISOString().slice(11, 16);

  // Times are the store's local time, counted as if they were UTC: no browser shifts them.
  function tick(t, step, first) {
    if (step >= 27 * DAY) {
      const month = new Date(t * 1000).getUTCMonth();
      return MONTHS[month] + (month === 0 || first ? `\n${year(t)}` : "");
    }
    if (step >= DAY || t % DAY === 0) return day(t) + (first ? `\n${year(t)}` : "");
    return clock(t);
  }

  const stamp = (spec, t) => `${day(t)} ${year(t)}${spec.daily ? "" : `, ${clock(t)}`}`;

  function text(spec, value) {
    if (value == null) return "–";
    return `${value.toFixed(spec.digits ?? 1).replace("-", "−")} ${spec.unit || ""}`.trim();
  }

  function seriesOf(spec) {
    return spec.series.map((one) => {
      const stroke = css(one.color || "--ink");
      return {
        label: one.label,
        stroke: one.width === 0 ? undefined : stroke,
        width: one.width ?? 2,
        dash: one.dash || [],
        fill: one.fill ? stroke + (one.fill === true ? "40" : one.fill) : undefined,
        fillTo: spec.range ? () => spec.range[0] : undefined,
        points: { show: Boolean(one.points), size: 8, fill: stroke },
        value: (_, v) => text(spec, v),
        spanGaps: false,
      };
    });
  }

  // Behind the lines: named spans of the x axis, levels, and the unit above the y axis.
  function behind(spec) {
    return (u) => {
      const { ctx, bbox } = u;
      const size = devicePixelRatio;
      ctx.save();
      ctx.font = `${12 * size}px system-ui, sans-serif`;
      ctx.textBaseline = "top";
      (spec.spans || []).forEach(([from, to, words], n) => {
        const left = Math.max(u.valToPos(from, "x", true), bbox.left);
        const right = Math.min(u.valToPos(to, "x", true), bbox.left + bbox.width);
        if (right <= left) return;
        ctx.fillStyle = css(n % 2 ? "--span-b" : "--span-a");
        ctx.fillRect(left, bbox.top, right - left, bbox.height);
        ctx.fillStyle = css("--quiet");
        if (ctx.measureText(words).width + 8 * size < right - left) {
          ctx.fillText(words, left + 5 * size, bbox.top + 5 * size);
        }
      });
      for (const { y, label, color, dash } of spec.levels || []) {
        const at = u.valToPos(y, "y", true);
        if (at < bbox.top || at > bbox.top + bbox.height) continue;
        ctx.strokeStyle = ctx.fillStyle = css(color || "--ink");
        ctx.lineWidth = size;
        ctx.setLineDash((dash || []).map((d) => d * size));
        ctx.beginPath();
        ctx.moveTo(bbox.left, at);
        ctx.lineTo(bbox.left + bbox.width, at);
        ctx.stroke();
        ctx.textBaseline = "bottom";
        if (label) ctx.fillText(label, bbox.left + 5 * size, at - 3 * size);
      }
      ctx.fillStyle = css("--quiet");
      ctx.textBaseline = "alphabetic";
      ctx.fillText(spec.yLabel || "", 4 * size, bbox.top - 9 * size);
      ctx.restore();
    };
  }

  function optionsOf(spec, width) {
    const axis = {
      stroke: css("--quiet"),
      font: "12px system-ui, sans-serif",
      grid: { stroke: css("--grid"), width: 1 },
      ticks: { show: false },
    };
    const scale = spec.range ? { range: () => spec.range } : {};
    return {
      width,
      height: spec.height || Math.max(210, Math.min(340, Math.round(width * 0.4))),
      padding: [spec.yLabel ? 26 : 10, 14, 0, 0],
      tzDate: (seconds) => uPlot.tzDate(new Date(seconds * 1000), "Etc/UTC"),
      scales: {
        x: { time: Boolean(spec.time) },
        y: { ...scale, ...(spec.log ? { distr: 3, log: 2 } : {}) },
      },
      axes: [
        spec.time
          ? { ...axis, values: (_, at, __, ___, step) => at.map((t, n) => tick(t, step, n === 0)) }
          : { ...axis, label: spec.xLabel, labelFont: "12px system-ui, sans-serif", labelSize: 20 },
        { ...axis, size: 52, values: (_, at) => at.map((v) => (v == null ? "" : `${v}`.replace("-", "−"))) },
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
        points: { size: 7 },
        sync: spec.sync ? { key: spec.sync, setSeries: false, scales: ["x", null] } : undefined,
      },
      legend: { live: width > 500 || spec.readOut !== false, markers: { width: 3 } },
      hooks: { drawClear: [behind(spec)] },
    };
  }

  // --- zoom by buttons and keys, read-out by keys and by a finger --------------------------------

  const whole = (plot) => [plot.data[0][0], plot.data[0][plot.data[0].length - 1]];

  function zoom(plot, factor) {
    const [first, last] = whole(plot);
    const { min, max } = plot.scales.x;
    const at = plot.cursor.left >= 0 ? plot.posToVal(plot.cursor.left, "x") : (min + max) / 2;
    const half = Math.max(((max - min) * factor) / 2, (last - first) / 400);
    const next = { min: Math.max(at - half, first), max: Math.min(at + half, last) };
    for (const one of alike(plot)) one.setScale("x", factor === Infinity ? { min: first, max: last } : next);
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
    plot.setCursor({ left: plot.valToPos(x[idx], "x"), top: plot.bbox.height / devicePixelRatio / 2 });
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
    for (const [sign, words, factor] of [["+", "Zoom in", 0.5], ["−", "Zoom out", 2], ["All", "Show all", Infinity]]) {
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

  function draw(place, spec) {
    drawn.get(place)?.plot.destroy();
    if (!drawn.has(place)) {
      keys(place);
      new ResizeObserver(() => resize(place)).observe(place);
    }
    const data = [spec.x, ...spec.series.map((one) => one.y)];
    const plot = new uPlot(optionsOf(spec, place.clientWidth), data, place);
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
    const same = one && one.spec.series.map((s) => s.label).join("|") === spec.series.map((s) => s.label).join("|");
    if (!same) return draw(place, spec);
    one.spec = spec;
    one.plot.setData([spec.x, ...spec.series.map((s) => s.y)]);
    return one.plot;
  }

  function redraw() {
    for (const [place, { plot, spec }] of [...drawn]) {
      if (place.isConnected) {
        draw(place, spec);
      } else {
        plot.destroy();
        drawn.delete(place);
      }
    }
  }

  /** Every figure that carries the numbers of its plot; its picture then waits for paper. */
  function all() {
    if (typeof uPlot === "undefined") return;
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
  return { all, draw, update, redraw };
})();
