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

  // An alarm with its parts as the page first had them; only what is new is told by ear.
  function alarmOf(alarm, form) {
    const item = document.createElement("li");
    const part = (tag, name, words, into = item) => {
      const one = document.createElement(tag);
      one.className = name;
      one.textContent = words;
      into.append(one, " ");
      return one;
    };
    item.dataset.level = alarm.level;
    if (alarm.seen) item.dataset.seen = "";
    const what = part("p", "what", "");
    part("strong", "", `${alarm.head}.`, what);
    part("span", "text", alarm.text, what);
    part("span", "quiet since", alarm.since, what);
    const todo = part("p", "todo", "");
    part("span", "quiet", "First:", todo);
    part("span", "first", alarm.first, todo);
    todo.hidden = !alarm.first;
    part("p", "seen", alarm.seen).hidden = !alarm.seen;
    if (form && alarm.ours && !alarm.seen) {
      const ask = form.content.cloneNode(true);
      ask.querySelector("[name=alarm]").value = alarm.kind;
      item.append(ask);
    }
    return item;
  }

  // Who is just writing a name is not disturbed; the list comes anew afterwards.
  const held = new Map();
  function setAlarms(list, key, alarms) {
    const inside = list.contains(document.activeElement);
    const sameAs = (one, item) =>
      one.text === item.querySelector(".text").textContent &&
      !!one.seen === ("seen" in item.dataset) &&
      String(one.level) === item.dataset.level;
    const items = [...list.children];
    if (items.length === alarms.length && alarms.every((one, n) => sameAs(one, items[n]))) return;
    if (inside) {
      if (!held.has(key)) {
        list.addEventListener("focusout", () => setTimeout(() => {
          if (list.contains(document.activeElement)) return;
          const last = held.get(key);
          held.delete(key);
          if (last) setAlarms(list, key, last);
        }));
      }
      held.set(key, alarms);
      return;
    }
    const form = list.parentElement.querySelector("template");
    list.replaceChildren(...alarms.map((one) => alarmOf(one, form)));
    list.hidden = alarms.length === 0;
  }

  function setList(key, lines) {
    const list = document.querySelector(`[data-l="${CSS.escape(key)}"]`);
    if (!list) return;
    if (key.endsWith(".alarms")) {
      setAlarms(list, key, lines);
      return;
    }
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

  function specOf(figure) {
    const table = figure.querySelector("details table");
    const rows = [...table.tBodies[0].rows].reverse();
    const numbers = (place) =>
      rows.map((row) => {
        const value = parseFloat(row.cells[place].textContent.replace("−", "-").replaceAll(",", ""));
        return Number.isNaN(value) ? null : value;
      });
    const labels = [...table.tHead.rows[0].cells].slice(1).map((cell) => cell.textContent);
    return {
      time: true,
      xLabel: "From",
      digits: 2,
      x: rows.map((row) => Number(row.cells[0].dataset.t)),
      series: labels.map((label, n) => ({
        label,
        y: numbers(n + 1),
        color: `--c${n % 8}`,
        dash: DASHES[n % DASHES.length],
      })),
    };
  }

  function drawAll() {
    if (typeof uPlot === "undefined") return;
    for (const figure of document.querySelectorAll("#charts figure")) {
      plots.update(figure.querySelector(".chart"), specOf(figure));
    }
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
          drawAll();
          return;
        }
        for (const part of ["details thead", "details tbody"]) {
          here.querySelector(part).replaceWith(figure.querySelector(part));
        }
      }
      drawAll();
    } catch {
      // the stream says so when the bridge is gone
    }
  }

  // What changes slowly is taken from the page itself.
  async function freshen() {
    try {
      const answer = await fetch(location.href, { cache: "no-store" });
      if (!answer.ok) return;
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      for (const one of document.querySelectorAll("[data-fresh]")) {
        const anew = fresh.getElementById(one.id);
        if (anew) one.replaceChildren(...anew.childNodes);
      }
    } catch {
      // the stream says so when the bridge is gone
    }
  }

  // --- start -----------------------------------------------------------------------------------

  setInterval(tick, 1000);
  connect();
  setInterval(freshen, 1000 * Math.max(300 / pace, 10));
  const past = document.getElementById("past");
  if (past) {
    drawAll();
    setInterval(() => refresh(past), 1000 * Number(past.dataset.every));
  }
})();
