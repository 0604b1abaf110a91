"use strict";
// Keeps an open page up to date, says plainly when it is not, and draws each chart from its table.
(() => {
  const QUIET_AFTER = 6; // seconds without a word from the bridge
  const SPEAK_EVERY = 60; // seconds between two spoken lines
  const body = document.body;
  const pace = Number(body.dataset.pace) || 1;
  const byKey = new Map();
  for (const one of document.querySelectorAll("[data-k]")) {
    if (!byKey.has(one.dataset.k)) byKey.set(one.dataset.k, []);
    byKey.get(one.dataset.k).push(one);
  }
  const ages = [...document.querySelectorAll("[data-a]")];
  let heardAt = performance.now();
  let silence = 0;
  let spokenAt = -Infinity;

  const since = () => (performance.now() - heardAt) / 1000;

  function ageText(seconds) {
    const whole = Math.max(Math.floor(seconds), 0);
    if (whole < 120) return `${whole} s`;
    if (whole < 7200) return `${Math.floor(whole / 60)} min`;
    if (whole < 172800) return `${Math.floor(whole / 3600)} h`;
    return `${Math.floor(whole / 86400)} d`;
  }

  function setText(one, words) {
    if (one.textContent !== words) one.textContent = words;
  }

  function setList(key, lines) {
    const list = document.querySelector(`[data-l="${CSS.escape(key)}"]`);
    if (!list) return;
    list.replaceChildren(
      ...lines.map((line) => {
        const item = document.createElement("li");
        item.textContent = line;
        return item;
      }),
    );
  }

  function speak(words) {
    const now = performance.now() / 1000;
    if (now - spokenAt < SPEAK_EVERY) return;
    spokenAt = now;
    document.getElementById("spoken").textContent = words;
  }

  function take(news) {
    if (news.shape !== body.dataset.shape) {
      location.reload();
      return;
    }
    heardAt = performance.now();
    silence = news.silence;
    for (const [key, words] of Object.entries(news.text)) {
      const places = byKey.get(key) || [];
      const changed = places.some((one) => one.textContent !== words);
      for (const one of places) setText(one, words);
      if (changed && key.endsWith(".title")) speak(`${key.slice(0, -6)}: ${words}`);
    }
    for (const one of document.querySelectorAll("[data-hide]")) {
      const words = news.text[one.dataset.hide];
      if (words !== undefined) one.hidden = words === "";
    }
    for (const [key, lines] of Object.entries(news.list)) setList(key, lines);
    for (const [name, state] of Object.entries(news.state)) {
      for (const one of document.querySelectorAll(`[data-f="${name}"]`)) one.dataset.state = state;
    }
    for (const one of ages) {
      const age = news.age[one.dataset.a];
      if (age !== undefined) one.dataset.s = age === null ? "" : age;
    }
    tick();
  }

  function tick() {
    const quiet = since();
    for (const one of ages) {
      if (one.dataset.s !== "") setText(one, ageText(Number(one.dataset.s) + quiet * pace));
    }
    const most = Math.max(quiet, silence + quiet);
    const old = quiet > QUIET_AFTER || most > 10;
    const words = document.getElementById("stale-words");
    document.getElementById("stale").hidden = !old;
    body.classList.toggle("old", old);
    if (!old) return;
    const who = quiet > QUIET_AFTER ? "This page has heard nothing" : "The bridge has said nothing";
    setText(words, `${who} for ${ageText(most)}.`);
  }

  // A browser comes back by itself after a cut, but not after a refusal.
  function connect() {
    if (!body.dataset.stream) return;
    const stream = new EventSource(body.dataset.stream);
    stream.onmessage = (event) => take(JSON.parse(event.data));
    stream.onerror = () => {
      if (stream.readyState === EventSource.CLOSED) setTimeout(connect, 5000);
    };
  }

  // --- charts ----------------------------------------------------------------------------------

  const DASHES = [[], [7, 4], [2, 3], [10, 3, 2, 3], [4, 4], [12, 4], [1, 3]];
  const BORDERS = ["solid", "dashed", "dotted", "dashed", "dashed", "dashed", "dotted"];
  const drawn = new Map();

  const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

  function columnsOf(table) {
    const rows = [...table.tBodies[0].rows].reverse();
    const numbers = (place) =>
      rows.map((row) => {
        const value = parseFloat(row.cells[place].textContent.replace("−", "-"));
        return Number.isNaN(value) ? null : value;
      });
    const labels = [...table.tHead.rows[0].cells].slice(1).map((cell) => cell.textContent);
    const times = rows.map((row) => Number(row.cells[0].dataset.t));
    return { labels, data: [times, ...labels.map((_, n) => numbers(n + 1))] };
  }

  function optionsFor(labels, width) {
    const ink = css("--ink");
    const line = css("--line");
    const axis = { stroke: ink, grid: { stroke: line, width: 1 }, ticks: { stroke: line } };
    const series = labels.map((label, n) => ({
      label,
      stroke: css(`--c${n % 8}`),
      dash: DASHES[n % DASHES.length],
      width: 2,
      points: { show: false },
    }));
    return {
      width,
      height: Math.max(200, Math.min(300, Math.round(width * 0.45))),
      tzDate: (seconds) => uPlot.tzDate(new Date(seconds * 1000), "Etc/UTC"),
      scales: { x: { time: true } },
      axes: [
        { ...axis, values: (_, ticks) => ticks.map(tickText) },
        { ...axis, size: 56, values: (_, ticks) => ticks.map(String) },
      ],
      series: [{ label: "From", value: (_, t) => (t == null ? "" : stamp(t)) }, ...series],
      legend: {
        live: width > 500,
        markers: { width: 3, dash: (_, n) => BORDERS[(n - 1) % BORDERS.length] || "solid" },
      },
    };
  }

  // Times are the store's local time, counted as if they were UTC.
  const stamp = (t) => new Date(t * 1000).toISOString().slice(0, 16).replace("T", " ");
  const tickText = (t) => (t % 86400 === 0 ? stamp(t).slice(5, 10) : stamp(t).slice(11));

  function draw(figure) {
    const place = figure.querySelector(".chart");
    const { labels, data } = columnsOf(figure.querySelector("details table"));
    const known = drawn.get(figure.id);
    if (known && known.labels.join("|") === labels.join("|") && known.place === place) {
      known.plot.setData(data);
      return;
    }
    if (known) known.plot.destroy();
    const plot = new uPlot(optionsFor(labels, place.clientWidth), data, place);
    plot.root.setAttribute("aria-hidden", "true"); // the figure's name and its table speak for it
    drawn.set(figure.id, { plot, labels, place });
  }

  function drawAll(anew) {
    if (typeof uPlot === "undefined") return;
    if (anew) {
      for (const { plot } of drawn.values()) plot.destroy();
      drawn.clear();
    }
    for (const figure of document.querySelectorAll("#charts figure")) draw(figure);
  }

  // Only the rows are replaced: an open table stays open, the focus stays where it is.
  async function refresh(past) {
    let answer;
    try {
      answer = await fetch(past.dataset.from, { cache: "no-store" });
      if (!answer.ok) return;
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      for (const figure of fresh.querySelectorAll("figure")) {
        const here = document.getElementById(figure.id);
        if (!here) {
          document.getElementById("charts").replaceChildren(...fresh.body.childNodes);
          drawAll(true);
          return;
        }
        for (const part of ["details thead", "details tbody"]) {
          here.querySelector(part).replaceWith(figure.querySelector(part));
        }
      }
      drawAll(false);
    } catch {
      // the stream says so when the bridge is gone
    }
  }

  // --- start -----------------------------------------------------------------------------------

  setInterval(tick, 1000);
  connect();
  const past = document.getElementById("past");
  if (past) {
    drawAll(true);
    setInterval(() => refresh(past), 1000 * Number(past.dataset.every));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => drawAll(true));
    let width = innerWidth;
    addEventListener("resize", () => {
      if (innerWidth === width) return;
      width = innerWidth;
      drawAll(true);
    });
  }
})();
