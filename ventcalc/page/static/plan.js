"use strict";
// Asks the program on this machine whatever the form says, and shows its answers as they come.
(() => {
  const $ = (id) => document.getElementById(id);
  const all = (selector, from = document) => [...from.querySelectorAll(selector)];
  const FOOT = { metric: [0.5, 8, 0.05, "m"], us: [1.75, 26, 0.25, "ft"] };
  const units = () => document.querySelector("[name=units]:checked").value;
  const ASKED = ["height", "winter", "winter_rh", "warm", "warm_rh", "autumn", "autumn_rh"];
  let kept = [];
  let sizedFile = "";

  // --- questions ------------------------------------------------------------------------------

  function form() {
    const bay = {};
    const has = [];
    for (const one of $("fields").elements) {
      if (!one.name) continue;
      if (one.type === "checkbox") {
        if (one.checked) has.push(one.name.slice(4));
      } else bay[one.name] = one.value;
    }
    return { bay, has };
  }

  function question(more = {}) {
    const asked = Object.fromEntries(ASKED.map((id) => [id, $(id).value]));
    return { units: units(), ...form(), ...asked, ...more };
  }

  async function send(where, body, more = {}) {
    let answer;
    try {
      answer = await fetch(where, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(body),
        ...more,
      });
    } catch (error) {
      if (error.name !== "AbortError") gone(true);
      throw error;
    }
    gone(false);
    return answer;
  }

  const ask = async (where, body) => (await send(where, body)).json();

  function gone(away) {
    $("gone").hidden = !away;
    $("gone").textContent = away
      ? "The program behind this page does not answer; start it again with ventcalc page, then load this page anew: what was typed is kept."
      : "";
  }

  // --- problems beside their fields -----------------------------------------------------------

  function showProblems(answer) {
    const beside = answer.problems || {};
    for (const box of all("[data-field]")) {
      const words = beside[box.dataset.field] || "";
      const line = box.querySelector(".wrong");
      line.textContent = words;
      line.hidden = !words;
      for (const one of all("input[name], select", box)) {
        if (words) one.setAttribute("aria-invalid", "true");
        else one.removeAttribute("aria-invalid");
      }
    }
    for (const group of all("details.group")) {
      const count = all(".wrong:not([hidden])", group).length;
      const mark = group.querySelector(".faults");
      mark.hidden = !count;
      mark.textContent = count ? `⚠ ${count} to mend` : "";
    }
    for (const more of all("details.more")) {
      if (more.querySelector(".wrong:not([hidden])")) more.open = true;
    }
    say(answer.above || []);
    return Object.keys(beside).length + (answer.above || []).length === 0;
  }

  function say(lines) {
    $("above").replaceChildren(
      ...lines.map((words) => Object.assign(document.createElement("p"), { textContent: words })),
    );
  }

  let speaking = 0;
  function speak(words) {
    clearTimeout(speaking);
    speaking = setTimeout(() => {
      if ($("spoken").textContent !== words) $("spoken").textContent = words;
    }, 700);
  }

  // The server has escaped every text; what was open stays open.
  function put(place, html) {
    const open = new Set(all("details[data-keep][open]", place).map((one) => one.dataset.keep));
    place.innerHTML = html;
    for (const one of all("details[data-keep]", place)) one.open = open.has(one.dataset.keep);
    place.classList.remove("old");
    plots.all();
  }

  // --- before fill, live ----------------------------------------------------------------------

  let checking = false;
  let again = false;
  async function check() {
    again = checking;
    if (checking) return;
    checking = true;
    try {
      do {
        again = false;
        const asked = question();
        sessionStorage.setItem("bay", JSON.stringify(asked));
        markEarlier();
        const answer = await ask("/check", asked);
        const sound = showProblems(answer);
        if (!sound || !answer.html) {
          $("fill-answer").classList.add("old");
          $("fill-earlier").hidden = !$("answer");
          strip("Something in the form is to be mended", "#bay");
          continue;
        }
        put($("fill-answer"), answer.html);
        $("fill-earlier").hidden = true;
        if (document.activeElement !== $("slide")) $("slide").value = answer.height;
        $("slide").setAttribute("aria-valuetext", $("height").value || String(answer.height));
        strip($("answer").textContent);
      } while (again);
    } finally {
      checking = false;
      document.body.dataset.ready = "yes";
    }
  }

  // What takes its time stands for the form as it was then.
  const stands = { size: "", season: "" };
  function markEarlier() {
    const now = JSON.stringify(form());
    for (const [name, then] of Object.entries(stands)) {
      $(`${name}-earlier`).hidden = then === "" || then === now;
    }
  }

  function strip(words, where = "#fill") {
    $("strip").hidden = false;
    $("strip").firstElementChild.href = where;
    $("strip").firstElementChild.textContent = words;
    speak(words);
  }

  let typing = 0;
  function later() {
    clearTimeout(typing);
    typing = setTimeout(check, 250);
  }

  function slider() {
    const [low, high, step] = FOOT[units()];
    Object.assign($("slide"), { min: low, max: high, step });
  }

  $("slide").addEventListener("input", () => {
    $("height").value = `${Number($("slide").value)} ${FOOT[units()][3]}`;
    check();
  });
  for (const id of ["fields", "ask"]) {
    $(id).addEventListener("input", (event) => {
      if (event.target.type === "range") return;
      if (event.target.name === "pile.height") $("height").value = event.target.value;
      if (event.target.name && event.target.name.startsWith("has:")) {
        event.target.closest("details").querySelector(".fields").hidden = !event.target.checked;
      }
      later();
    });
    $(id).addEventListener("submit", (event) => event.preventDefault());
  }

  // --- weather --------------------------------------------------------------------------------

  $("weather-file").addEventListener("change", async (event) => {
    const [file] = event.target.files;
    if (!file) return;
    const altitude = document.querySelector("[name='site.altitude']").value;
    const query = new URLSearchParams({ name: file.name, altitude });
    $("weather-says").textContent = `Reading ${file.name} …`;
    const headers = { "Content-Type": "application/octet-stream" };
    const answer = await (await send(`/weather?${query}`, null, { headers, body: file })).json();
    if (!answer.key) {
      $("weather-says").textContent = answer.above.join(" ");
      $("weather-says").className = "problem";
      return;
    }
    const known = all("option", $("weather")).find((one) => one.value === answer.key);
    const option = known || new Option(answer.name, answer.key);
    $("weather").append(option);
    $("weather").value = answer.key;
    $("weather-says").className = "quiet";
    $("weather-says").textContent = answer.says.join(" ");
  });

  // --- sizes ----------------------------------------------------------------------------------

  $("size-ask").addEventListener("submit", async (event) => {
    event.preventDefault();
    const button = event.target.querySelector("button");
    button.disabled = true;
    button.textContent = "Sizing …";
    try {
      const airflows = $("airflows").checked;
      const more = { target: $("target").value, weather: $("weather").value, airflows };
      const asked = JSON.stringify(form());
      const answer = await ask("/size", question(more));
      const sound = showProblems(answer);
      if (sound) {
        put($("size-answer"), answer.html);
        stands.size = asked;
        markEarlier();
        sizedFile = answer.toml;
        document.querySelector("[data-act=sized]").hidden = false;
        speak("The sizes are there");
      } else refuse($("size-answer"), answer);
    } finally {
      button.disabled = false;
      button.textContent = "Size this bay";
    }
  });

  // What belongs to no field is said where it was asked.
  function refuse(place, answer) {
    const lines = answer.above.length ? answer.above : ["Something in the form is to be mended."];
    place.replaceChildren(
      ...lines.map((words) =>
        Object.assign(document.createElement("p"), { className: "problem", textContent: words }),
      ),
    );
    say([]);
    speak(lines.join(" "));
  }

  // --- a season -------------------------------------------------------------------------------

  let stopper = null;

  // Lines as they come; the last one is the answer.
  async function follow(answer, tell) {
    const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
    let rest = "";
    let last = null;
    for (;;) {
      const { done, value } = await reader.read();
      if (done) break;
      const lines = (rest + value).split("\n");
      rest = lines.pop();
      for (const line of lines) {
        last = JSON.parse(line);
        if (last.running !== undefined) tell(last);
      }
    }
    return last || JSON.parse(rest);
  }

  function running(words, part) {
    $("running").hidden = words === "";
    document.querySelector("[data-act=cancel]").hidden = words === "";
    for (const one of [...all("#season-ask [type=submit]"), ...all("[data-act=seasons]")]) {
      one.disabled = words !== "";
    }
    $("running-words").textContent = words;
    $("bar").value = part;
  }

  async function season(body) {
    stopper = new AbortController();
    const asked = body.alternatives ? "" : JSON.stringify(form());
    running("The season begins", 0);
    speak("The season runs");
    $("season-answer").classList.add("old");
    try {
      const more = { control: $("control").value, weather: $("weather").value };
      const response = await send("/season", { ...body, ...more }, { signal: stopper.signal });
      const streamed = (response.headers.get("content-type") || "").includes("ndjson");
      const answer = streamed
        ? await follow(response, (at) =>
            running(`Running ${at.running}: day ${at.day} of ${at.days || "…"}`, at.part),
          )
        : await response.json();
      if (!streamed) showProblems(answer);
      if (answer.html) {
        put($("season-answer"), answer.html);
        stands.season = asked;
        markEarlier();
        speak("The season has ended, its results are there");
      } else refuse($("season-answer"), answer);
    } catch (error) {
      if (error.name !== "AbortError") throw error;
      $("season-answer").classList.remove("old");
      speak("The season was stopped");
    } finally {
      running("", 0);
    }
  }

  $("season-ask").addEventListener("submit", (event) => {
    event.preventDefault();
    season(question());
  });

  // --- alternatives ---------------------------------------------------------------------------

  $("keep").addEventListener("submit", (event) => {
    event.preventDefault();
    let name = $("keep-name").value.trim() || `${kept.length + 1}: ${$("height").value}`;
    while (kept.some((one) => one.name === name)) name += " again";
    kept.push({ ...question(), name });
    $("keep-name").value = "";
    compare();
  });

  async function compare() {
    sessionStorage.setItem("kept", JSON.stringify(kept));
    $("kept").replaceChildren(
      ...kept.map((one, place) => {
        const item = document.createElement("li");
        item.append(Object.assign(document.createElement("strong"), { textContent: one.name }));
        for (const [act, words] of [["back", "Put into the form"], ["drop", "Drop"]]) {
          const button = Object.assign(document.createElement("button"), { type: "button" });
          button.textContent = words;
          button.setAttribute("aria-label", `${words}: ${one.name}`);
          button.dataset.act = act;
          button.dataset.place = place;
          item.append(button);
        }
        return item;
      }),
    );
    document.querySelector("[data-act=seasons]").hidden = !kept.length;
    if (!kept.length) {
      $("compare-answer").replaceChildren();
      return;
    }
    const answer = await ask("/compare", { units: units(), alternatives: kept });
    if (answer.html) put($("compare-answer"), answer.html);
    else refuse($("compare-answer"), answer);
  }

  // --- the form as a whole --------------------------------------------------------------------

  async function change(more, focus) {
    const answer = await ask("/form", question(more));
    if (!answer.html) {
      say(answer.above);
      return;
    }
    const open = new Set(all("details.group[open]").map((one) => one.dataset.group));
    $("fields").innerHTML = answer.html;
    for (const one of all("details.group")) one.open = open.has(one.dataset.group);
    for (const [id, words] of Object.entries(answer.asks)) $(id).value = words;
    slider();
    if (focus) focus();
    await check();
    if (answer.above.length) say(answer.above);
  }

  const open = (group) => {
    group.open = true;
    const field = group.querySelector("input");
    if (field) field.focus();
  };

  const ACTS = {
    load: () => $("bay-file").click(),
    print: () => window.print(),
    save: async () => {
      const answer = await ask("/file", question());
      if (!showProblems(answer)) {
        speak("Not saved: something in the form is to be mended");
        return;
      }
      const link = document.createElement("a");
      link.href = URL.createObjectURL(new Blob([answer.text], { type: "application/toml" }));
      link.download = answer.name;
      link.click();
      setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    },
    height: () => {
      document.querySelector("[name='pile.height']").value = $("height").value;
      check();
    },
    cancel: () => stopper.abort(),
    sized: () => change({ toml: sizedFile }, () => $("h-bay").scrollIntoView()),
    seasons: () => season({ units: units(), alternatives: kept }),
    back: (button) => {
      const one = kept[button.dataset.place];
      restore({ ...one, units: units() });
    },
    drop: (button) => {
      kept.splice(button.dataset.place, 1);
      compare();
      $("keep-name").focus();
    },
    lot: () => change({ act: "lot" }, () => open(all("details[data-group^=lots]").at(-1))),
    take: (button) =>
      change({ act: `take ${button.dataset.lot}` }, () =>
        all("details[data-group^=lots]").at(-1).querySelector("summary").focus(),
      ),
  };
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-act]");
    if (button) ACTS[button.dataset.act](button);
  });
  $("examples").addEventListener("change", (event) => {
    if (event.target.value) change({ example: event.target.value });
    event.target.value = "";
  });
  $("bay-file").addEventListener("change", async (event) => {
    const [file] = event.target.files;
    if (file) await change({ toml: await file.text() });
    event.target.value = "";
  });
  for (const one of all("[name=units]")) {
    one.addEventListener("change", async () => {
      await change({ act: "units" });
      if (kept.length) await compare();
    });
  }

  // --- paper ----------------------------------------------------------------------------------

  let closed = [];
  addEventListener("beforeprint", () => {
    closed = all("details[data-paper]:not([open])", $("answers"));
    for (const one of closed) one.open = true;
  });
  addEventListener("afterprint", () => {
    for (const one of closed) one.open = false;
  });

  // --- begin ----------------------------------------------------------------------------------

  // A form that was typed before: the page loaded anew, or an alternative.
  async function restore(before) {
    for (const one of all("[name=units]")) one.checked = one.value === before.units;
    slider();
    for (const id of ASKED) $(id).value = before[id] ?? $(id).value;
    const answer = await ask("/form", { ...before, act: "" });
    if (answer.html) $("fields").innerHTML = answer.html;
    await check();
  }

  const stored = (name) => {
    try {
      return JSON.parse(sessionStorage.getItem(name));
    } catch {
      return null;
    }
  };
  slider();
  const before = stored("bay");
  if (before && before.bay) restore(before);
  else check();
  const others = stored("kept");
  if (Array.isArray(others) && others.length) {
    kept = others;
    compare();
  }
})();
