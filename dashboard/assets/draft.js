/* What is typed on Record is kept on this device until the server says that it has stored it.

   The boxes are made here, inside elements that the pages leave empty, so that no redrawing ever takes one from under
   the person typing. Every keystroke goes to the device's own storage with a number; a sender posts what waits and
   drops an entry only when the server acknowledges its number. What a box shows is what waits here, else what the
   server last said it holds.

   The pages say what is what by attributes:
     data-draft, data-zone          the visit's key and its site's time zone, on the root of the page
     data-known                     what the server holds, as JSON: version, fields, stored (count), at (moment), and
                                    what it says of the boxes: problems, hints, doubted, taken, odd
     data-panel                     a part that the server makes anew after each acknowledgement
     data-box, data-kind, data-unit a box for one field: reading, decimal, text, moment, whole, long
     data-choice, data-value        a group of buttons that sets one field, and what each of them sets
     data-entries                   a button that types: pairs of field and text, as JSON
     data-step, data-place          what is shown one at a time: a step, and a station within it
     data-slots, data-slot, data-roll   a group of readings shown one at a time, and the button of each
     data-tab                       the steps a tab stands for, the last open one first shown
     data-if, data-open-if, data-at shown while a field holds one of some texts; while a station is shown
     data-go, data-focus, data-reveal   a button that leads to a place, to a box, or opens what says why
     data-form, data-action         a small form: kept here as a whole, sent as a whole when it is handed in
     data-send, data-act            a button that hands a form in, or posts to one of the draft's own addresses */
(function () {
  "use strict";
  const DRAFT = "asleft.draft.", FORM = "asleft.form.", DEVICE = "asleft.device";
  const QUIET_MS = 350, AGAIN_MS = [2000, 4000, 8000, 15000, 30000];
  const memory = new Map();
  let keeps = true;

  /* ---- the device's own storage ---- */
  function read(key) {
    let text = null;
    try { text = window.localStorage.getItem(key); } catch (_) { keeps = false; }
    if (text === null) { text = memory.get(key) || null; }
    try { return text === null ? null : JSON.parse(text); } catch (_) { return null; }
  }
  function write(key, value) {
    const text = JSON.stringify(value);
    try {
      window.localStorage.setItem(key, text);
      memory.delete(key);
      keeps = true;
    } catch (_) { memory.set(key, text); keeps = false; }
  }
  function forget(key) {
    memory.delete(key);
    try { window.localStorage.removeItem(key); } catch (_) { keeps = false; }
  }
  function held(prefix) {
    const keys = new Set([...memory.keys()]);
    try {
      for (let i = 0; i < window.localStorage.length; i += 1) { keys.add(window.localStorage.key(i)); }
    } catch (_) { keeps = false; }
    return [...keys].filter((key) => key.startsWith(prefix)).map((key) => key.slice(prefix.length));
  }
  function unique() {
    const bytes = window.crypto.getRandomValues(new Uint8Array(12));
    return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  }
  function device() {
    let own = read(DEVICE);
    if (typeof own !== "string") { own = unique(); write(DEVICE, own); }
    return own;
  }
  function draftOf(key) {
    return read(DRAFT + key) || { last: 0, waiting: {}, since: null, refused: null };
  }
  function formOf(name) {
    return read(FORM + name) || { key: unique(), values: {}, action: null, pending: false, since: null, said: null };
  }

  /* ---- the page that is shown ---- */
  function root() { return document.querySelector("[data-draft]"); }
  function shownKey() { const at = root(); return at ? at.dataset.draft : null; }
  function known() {
    const at = document.querySelector("[data-known]");
    if (!at) { return { version: 0, fields: {}, stored: 0, at: null }; }
    if (!at.known) { at.known = JSON.parse(at.dataset.known); }
    return at.known;
  }
  // While everything is laid out anew, what waits is read once and not for every box.
  let frozen = null;
  function formAround(node) { return node.closest("[data-form]"); }
  // What the server has acknowledged and the figures on the page do not hold yet: they are asked for later.
  const stored = new Map();
  function value(field, node) {
    const form = formAround(node);
    if (form) {
      const values = formOf(form.dataset.form).values;
      return field in values ? values[field] : node.dataset.first || "";
    }
    const waiting = (frozen || draftOf(shownKey())).waiting;
    if (field in waiting) { return waiting[field].value; }
    const now = known(), own = stored.get(shownKey() + " " + field);
    if (own && own.version > now.version) { return own.value; }
    return field in now.fields ? now.fields[field] : "";
  }
  function type(field, text, node) {
    const form = formAround(node);
    if (form) {
      const kept = formOf(form.dataset.form);
      kept.values[field] = text;
      kept.action = form.dataset.action;
      // What was handed in and then changed is another matter: it is handed in again, not sent by itself.
      kept.pending = false;
      kept.said = null;
      write(FORM + form.dataset.form, kept);
      // What was said of it holds no longer.
      form.querySelectorAll("[data-after], [data-answer]").forEach((one) => { one.hidden = true; });
      lay();
      return;
    }
    const key = shownKey();
    if (!key || value(field, node) === text) { return; }
    const draft = draftOf(key);
    draft.last += 1;
    draft.waiting[field] = { value: text, number: draft.last, at: new Date().toISOString() };
    draft.refused = null;
    write(DRAFT + key, draft);
    if (node.input) { mark(node); }
    say();
    // The rest of the page is laid out anew once the typing rests.
    window.clearTimeout(timers.get("lay"));
    timers.set("lay", window.setTimeout(lay, 150));
    soon(key);
  }

  /* ---- boxes ---- */
  function boxId(field) { return "box-" + field.replace(/[^A-Za-z0-9_-]/g, "_"); }
  function element(tag, properties, attributes) {
    const made = Object.assign(document.createElement(tag), properties);
    Object.entries(attributes || {}).forEach(([name, text]) => { if (text) { made.setAttribute(name, text); } });
    return made;
  }
  function parted(text) {
    const found = /^\s*([+\-\u2212\u2013]?)\s*([^]*)$/.exec(text);
    return { sign: found[1] === "" ? "" : found[1] === "+" ? "+" : "-", rest: found[2] };
  }
  function build(box) {
    if (box.built === box.dataset.box) { return; }
    box.built = box.dataset.box;
    box.replaceChildren();
    const field = box.dataset.box, kind = box.dataset.kind, long = kind === "long";
    const input = element(long ? "textarea" : "input", { id: boxId(field), className: "vl", autocomplete: "off" }, {
      "aria-label": box.dataset.label, "aria-describedby": box.dataset.told, placeholder: box.dataset.hint,
      inputmode: kind === "reading" || kind === "decimal" ? "decimal" : kind === "whole" ? "numeric" : null,
      enterkeyhint: long ? null : "next", maxlength: box.dataset.most, autocapitalize: "off", spellcheck: "false",
      rows: long ? "2" : null,
    });
    if (!long) { input.type = kind === "moment" ? "datetime-local" : "text"; }
    box.input = input;
    if (kind === "reading") {
      const sign = element("button", { type: "button", className: "sg" });
      box.sign = sign;
      box.signed = "";
      sign.addEventListener("click", function () {
        box.signed = box.signed === "-" ? "+" : "-";
        showSign(box);
        if (input.value.trim() !== "") { type(field, box.signed + input.value, box); }
        input.focus();
      });
      box.append(sign);
    }
    box.append(input);
    if (box.dataset.unit) { box.append(element("span", { className: "un", textContent: box.dataset.unit })); }
    input.addEventListener("input", function () {
      let text = input.value;
      if (kind === "reading") {
        const parts = parted(text);
        if (parts.sign) { box.signed = parts.sign; input.value = parts.rest; showSign(box); }
        text = input.value.trim() === "" ? "" : box.signed + input.value;
      }
      type(field, text, box);
    });
    input.addEventListener("keydown", function (event) {
      if (event.key !== "Enter" || long) { return; }
      event.preventDefault();
      onward(input);
    });
    input.addEventListener("blur", function () { const key = shownKey(); if (key) { send(key); } });
    fill(box);
  }
  function showSign(box) {
    const minus = box.signed === "-";
    box.sign.textContent = minus ? "\u2212" : "+";
    box.sign.setAttribute("aria-label", `Turn the sign of ${box.dataset.label}; now ${minus ? "minus" : "plus"}`);
  }
  function fill(box) {
    const text = value(box.dataset.box, box);
    if (box.dataset.kind !== "reading") {
      if (box.input.value !== text) { box.input.value = text; }
      return;
    }
    const parts = parted(text);
    if (box.input.value !== parts.rest) { box.input.value = parts.rest; }
    if (text !== "") { box.signed = parts.sign; }
    showSign(box);
  }
  /* what the server said of a box: what is wrong with its text, what holds while it is empty, what is in doubt */
  function mark(box) {
    if (formAround(box)) { return; }
    const field = box.dataset.box, said = known();
    const stale = field in (frozen || draftOf(shownKey())).waiting;
    const problem = stale ? "" : (said.problems || {})[field] || "";
    const doubted = !stale && (said.doubted || []).includes(field);
    box.classList.toggle("err", problem !== "" || doubted);
    if (problem !== "" || doubted) { box.input.setAttribute("aria-invalid", "true"); } else { box.input.removeAttribute("aria-invalid"); }
    box.input.placeholder = (said.hints || {})[field] || box.dataset.hint || "";
    const told = box.nextElementSibling;
    if (told && told.dataset.prob === field) {
      if (told.textContent !== problem) { told.textContent = problem; }
      told.hidden = problem === "";
    }
  }
  function press(group) {
    const chosen = value(group.dataset.choice, group);
    group.querySelectorAll("[data-value]").forEach(function (button) {
      button.setAttribute("aria-pressed", String(button.dataset.value === chosen));
    });
  }

  /* ---- what is shown one at a time ---- */
  const place = { step: null, station: null, slot: {} };
  function holds(condition, node) {
    const at = condition.indexOf("=");
    return condition.slice(at + 1).split("|").includes(value(condition.slice(0, at), node));
  }
  function steps() {
    return [...document.querySelectorAll("[data-step]")].filter(
      (one) => !one.dataset.openIf || holds(one.dataset.openIf, one) || one.dataset.step === place.step,
    );
  }
  function behindTab(tab) {
    const names = tab.dataset.tab.split(" "), open = steps().map((one) => one.dataset.step);
    if (names.includes(place.step)) { return place.step; }
    return names.filter((name) => open.includes(name)).pop() || names[0];
  }
  function step() { return steps().find((one) => one.dataset.step === place.step) || null; }
  function places(within) { return within ? [...within.querySelectorAll("[data-place]")] : []; }
  function filled(within) {
    const boxes = [...within.querySelectorAll("[data-box][data-kind=reading]")];
    const taken = known().taken || [];
    return boxes.length > 0 && boxes.every(
      (box) => value(box.dataset.box, box).trim() !== "" || taken.includes(box.dataset.box),
    );
  }
  function fromHash() {
    const parts = decodeURIComponent(window.location.hash.slice(1)).split("/");
    const all = steps();
    place.step = (all.find((one) => one.dataset.step === parts[0]) || all[0]).dataset.step;
    place.station = parts[1] || null;
  }
  function show() {
    const all = steps();
    if (all.length === 0) { return; }
    if (!all.some((one) => one.dataset.step === place.step)) { fromHash(); }
    document.querySelectorAll("[data-step]").forEach((one) => { one.hidden = one.dataset.step !== place.step; });
    const current = step(), within = places(current);
    if (within.length > 0) {
      if (!within.some((one) => one.dataset.place === place.station)) {
        place.station = (within.find((one) => !filled(one)) || within[0]).dataset.place;
      }
      within.forEach((one) => { one.hidden = one.dataset.place !== place.station; });
    }
    current.querySelectorAll("[data-slots]").forEach(showSlots);
    current.querySelectorAll("[data-at]").forEach(function (part) {
      const away = part.dataset.at.startsWith("!");
      part.hidden = (part.dataset.at.slice(away ? 1 : 0) === place.station) === away;
    });
    const at = within.find((one) => !one.hidden);
    document.querySelectorAll("[data-heading]").forEach(function (heading) {
      const text = (at && at.dataset.title) || current.dataset.title;
      if (heading.textContent !== text) { heading.textContent = text; }
    });
    document.querySelectorAll(".steps [data-tab]").forEach(function (link) {
      const on = link.dataset.tab.split(" ").includes(place.step);
      link.parentElement.classList.toggle("on", on);
      if (on) { link.setAttribute("aria-current", "step"); } else { link.removeAttribute("aria-current"); }
    });
    current.querySelectorAll(".sts [data-go]").forEach(function (button) {
      const code = button.dataset.go.split("/")[1], of = within.find((one) => one.dataset.place === code);
      const on = code === place.station;
      button.parentElement.classList.toggle("on", on);
      button.parentElement.classList.toggle("ok", Boolean(of) && filled(of));
      const odd = ((known().odd || {})[place.step] || []).includes(code);
      button.parentElement.classList.toggle("bad", odd);
      button.parentElement.title = odd ? "something does not fit here" : "";
      if (on) { button.setAttribute("aria-current", "step"); } else { button.removeAttribute("aria-current"); }
    });
    const hash = "#" + place.step + (place.station && within.length > 0 ? "/" + encodeURIComponent(place.station) : "");
    if (window.location.hash !== hash) { window.history.replaceState(window.history.state, "", hash); }
  }
  function shownReading(slot) {
    return [...slot.querySelectorAll("[data-box]")].map(function (box) {
      const parts = parted(value(box.dataset.box, box));
      const figure = parts.rest ? `${parts.sign === "-" ? "\u2212" : "+"}\u00a0${parts.rest}` : "–";
      return { axis: box.dataset.axis, text: `${figure}\u00a0${box.dataset.unit || ""}`, none: !parts.rest };
    });
  }
  function showSlots(around) {
    const slots = [...around.querySelectorAll("[data-slot]")];
    if (slots.length === 0) { return; }
    const key = around.dataset.slots;
    if (!slots.some((one) => one.dataset.slot === place.slot[key])) {
      place.slot[key] = (slots.find((one) => !filled(one)) || slots[slots.length - 1]).dataset.slot;
    }
    slots.forEach((one) => { one.hidden = one.dataset.slot !== place.slot[key]; });
    around.querySelectorAll("[data-roll]").forEach(function (button) {
      const slot = slots.find((one) => one.dataset.slot === button.dataset.roll);
      button.setAttribute("aria-pressed", String(button.dataset.roll === place.slot[key]));
      const note = button.querySelector("small");
      const text = slot && filled(slot) ? "taken" : "";
      if (note && note.textContent !== text) { note.textContent = text; }
    });
    around.querySelectorAll("[data-taken]").forEach(function (card) {
      const slot = slots.find((one) => one.dataset.slot === card.dataset.taken);
      const readings = slot ? shownReading(slot) : [];
      card.hidden = !slot || !slot.hidden || readings.every((one) => one.none);
      const line = card.querySelector(".sm");
      if (line && !card.hidden) {
        line.replaceChildren(...readings.map(function (one) {
          const part = element("span", { textContent: one.axis + " " });
          part.append(element("b", { textContent: one.text }));
          return part;
        }));
      }
    });
  }
  function go(to) {
    const [toStep, toPlace] = to.split("/");
    const other = toStep !== place.step;
    place.step = toStep;
    place.station = toPlace === undefined ? null : decodeURIComponent(toPlace);
    show();
    if (other) {
      window.scrollTo(0, 0);
      const heading = document.querySelector("[data-heading]");
      if (heading) { heading.focus({ preventScroll: true }); }
    } else {
      const at = places(step()).find((one) => !one.hidden);
      const box = at && [...at.querySelectorAll("[data-box]")].find((one) => one.offsetParent && !one.input.value);
      if (box) { box.input.focus(); }
    }
  }
  function reveal(box) {
    const inStep = box.closest("[data-step]"), inPlace = box.closest("[data-place]"), slot = box.closest("[data-slot]");
    for (let fold = box.closest("details"); fold; fold = fold.parentElement.closest("details")) { fold.open = true; }
    if (inStep) { place.step = inStep.dataset.step; }
    if (inPlace) { place.station = inPlace.dataset.place; }
    if (slot) { place.slot[slot.closest("[data-slots]").dataset.slots] = slot.dataset.slot; }
    show();
  }
  function onward(input) {
    const within = input.closest("[data-step], [data-form]");
    const key = shownKey();
    if (key) { send(key); }
    if (!within) { return; }
    const stops = [...within.querySelectorAll(".vl, [data-onward]")].filter(function (one) {
      if (one.closest("[data-aside]") || one.disabled) { return false; }
      const box = one.closest("[data-box]");
      if (box && one !== input && one.value === "" && (known().taken || []).includes(box.dataset.box)) { return false; }
      // What is hidden because another station or roll is shown is a stop; whatever else is hidden is none.
      for (let part = one; part && part !== within; part = part.parentElement) {
        if (part.hidden && !part.dataset.place && !part.dataset.slot) { return false; }
      }
      return true;
    });
    const next = stops[stops.indexOf(input) + 1];
    if (!next) { return; }
    if (next.matches(".vl")) { reveal(next.closest("[data-box]")); }
    next.focus();
    if (next.select && next.type === "text") { next.select(); }
    next.scrollIntoView({ block: "center" });
  }

  /* ---- laying what is known over what is shown ---- */
  let laying = false;
  function lay() {
    if (laying) { return; }
    laying = true;
    window.requestAnimationFrame(function () { laying = false; layNow(); });
  }
  function layNow() {
    frozen = shownKey() ? draftOf(shownKey()) : null;
    document.querySelectorAll("[data-box]").forEach(function (box) { build(box); fill(box); mark(box); });
    document.querySelectorAll("[data-signed-of]").forEach(signedSays);
    document.querySelectorAll("[data-choice]").forEach(press);
    document.querySelectorAll("[data-if]").forEach(function (part) { part.hidden = !holds(part.dataset.if, part); });
    show();
    frozen = null;
    say();
  }
  new MutationObserver(function (changes) {
    const ours = changes.every(function (change) {
      return change.type === "childList" && change.target.closest && change.target.closest("[data-box], .kept, .said, .sm, .prob, .answer");
    });
    if (!ours) { lay(); }
  }).observe(document.documentElement, {
    subtree: true, childList: true, attributes: true,
    attributeFilter: [
      "data-box", "data-draft", "data-form", "data-choice", "data-step", "data-place", "data-at", "data-if",
    ],
  });

  /* ---- the strip: where what was typed is ---- */
  function clock(moment) {
    const at = root() || document.querySelector("[data-zone]");
    const options = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
    try {
      return new Intl.DateTimeFormat("en-GB", { ...options, timeZone: (at && at.dataset.zone) || undefined }).format(moment);
    } catch (_) { return new Intl.DateTimeFormat("en-GB", options).format(moment); }
  }
  function values(count) { return count === 1 ? "1 value" : `${count} values`; }
  function where(draft, count) {
    if (!keeps && count > 0) {
      return ["This device keeps nothing.", ` Stay on this page until the ${values(count)} typed here are stored.`, "warn"];
    }
    if (draft.refused) { return ["Kept on this device.", ` Not stored: ${draft.refused}`, "warn"]; }
    if (count > 0 && draft.since) {
      const when = clock(new Date(draft.since));
      return ["Kept on this device.", ` Not reached since ${when}; sent when it is back. ${values(count)} not yet stored.`, "kept-here"];
    }
    if (count > 0) { return ["Kept on this device.", ` ${values(count)} on the way to the record.`, "kept-here"]; }
    const now = known(), stored = draft.storedAt || now.at, at = stored ? clock(new Date(stored)) : null;
    return [at ? `Stored ${at}.` : "Nothing typed yet.", ` ${values(now.stored)} stored, nothing waiting on this device.`, "stored"];
  }
  let announced = null, announcing = null;
  function say() {
    const at = document.querySelector(".kept[data-strip]"), around = root();
    if (!at) { return; }
    let state;
    if (around) {
      const draft = draftOf(around.dataset.draft), count = Object.keys(draft.waiting).length;
      state = where(draft, count);
      const behind = count > 0 || (draft.version || 0) > known().version;
      around.toggleAttribute("data-behind", behind);
      around.toggleAttribute("data-unsent", count > 0);
    } else {
      const form = document.querySelector("[data-form]"), kept = form && formOf(form.dataset.form);
      const count = kept ? Object.keys(kept.values).length : 0;
      if (!kept || count === 0) { state = ["Not begun.", " What you type is kept on this device until it is stored.", "stored"]; }
      else if (kept.pending && kept.since) {
        state = ["Kept on this device.", ` Not reached since ${clock(new Date(kept.since))}; sent when it is back.`, "kept-here"];
      } else if (kept.pending) { state = ["Kept on this device.", " On the way to the record.", "kept-here"]; }
      else { state = ["Kept on this device.", ` ${values(count)}, not handed in yet.`, "kept-here"]; }
      document.querySelectorAll(".said[data-of-form]").forEach(function (told) {
        const text = (kept && kept.said) || "";
        if (told.textContent !== text) { told.textContent = text; }
        told.hidden = text === "";
      });
    }
    const text = state[0] + state[1];
    at.dataset.state = state[2];
    if (at.textContent !== text) {
      const words = element("span");
      words.append(element("b", { textContent: state[0] }), state[1]);
      at.replaceChildren(element("i", { className: "phone" }, { "aria-hidden": "true" }), words);
    }
    // Heard only when where it is has changed, not at every keystroke.
    if (announced !== state[0].split(" ")[0]) {
      window.clearTimeout(announcing);
      announcing = window.setTimeout(function () {
        announced = state[0].split(" ")[0];
        const live = document.querySelector("[data-announce]");
        if (live) { live.textContent = text; }
      }, 1500);
    }
  }

  /* ---- the sender ---- */
  const timers = new Map(), busy = new Set(), tries = new Map();
  function soon(key) {
    window.clearTimeout(timers.get(key));
    timers.set(key, window.setTimeout(function () { send(key); }, QUIET_MS));
  }
  function later(key) {
    const made = tries.get(key) || 0;
    tries.set(key, made + 1);
    window.clearTimeout(timers.get(key));
    const wait = AGAIN_MS[Math.min(made, AGAIN_MS.length - 1)];
    timers.set(key, window.setTimeout(function () { send(key); }, wait));
  }
  async function post(to, body) {
    const answer = await window.fetch(to, {
      method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body),
      credentials: "same-origin", keepalive: true,
    });
    const text = await answer.text();
    let said = null;
    try { said = JSON.parse(text); } catch (_) { said = { sentence: text.trim() }; }
    if (answer.status >= 500) { throw new Error(text); }
    return { ok: answer.ok, said: said };
  }
  async function send(key) {
    if (busy.has(key)) { soon(key); return; }
    const waiting = Object.entries(draftOf(key).waiting);
    if (waiting.length === 0) { refresh(key); return; }
    busy.add(key);
    window.clearTimeout(timers.get(key));
    const entries = waiting.map(([field, one]) => ({ field: field, value: one.value, typed_at: one.at, sequence: one.number }));
    try {
      const answer = await post(`/drafts/${encodeURIComponent(key)}/entries`, { device: device(), entries: entries });
      const draft = draftOf(key);
      draft.since = null;
      if (answer.ok) {
        tries.delete(key);
        // Only what was sent, under the number it was sent with; what was typed since waits for its own turn.
        entries.forEach(function (sent) {
          const one = draft.waiting[sent.field];
          if (one && one.number === sent.sequence && sent.sequence <= answer.said.acknowledged) {
            delete draft.waiting[sent.field];
            stored.set(key + " " + sent.field, { value: sent.value, version: answer.said.version });
          }
        });
        draft.version = answer.said.version;
        draft.storedAt = answer.said.at;
        draft.refused = (answer.said.refused || []).join(" ") || null;
        write(DRAFT + key, draft);
        refresh(key);
        if (Object.keys(draft.waiting).length > 0) { soon(key); }
      } else {
        draft.refused = answer.said.sentence || "the server refused it.";
        write(DRAFT + key, draft);
      }
    } catch (_) {
      const draft = draftOf(key);
      draft.since = draft.since || new Date().toISOString();
      write(DRAFT + key, draft);
      later(key);
    } finally {
      busy.delete(key);
      lay();
    }
  }
  function thou() { return window.location.search.includes("unit=thou") ? "?unit=thou" : ""; }
  let asking = false;
  async function refresh(key) {
    if (key !== shownKey() || asking || (draftOf(key).version || 0) <= known().version) { return; }
    asking = true;
    try {
      const answer = await window.fetch(`/drafts/${encodeURIComponent(key)}/panels${thou()}`, { credentials: "same-origin" });
      if (answer.ok && key === shownKey()) { anew(await answer.json()); }
    } catch (_) {
      // The figures stay as they were and say that they are behind; the next round asks again.
    } finally {
      asking = false;
      lay();
      if (key === shownKey() && (draftOf(key).version || 0) > known().version) {
        window.clearTimeout(timers.get("refresh"));
        timers.set("refresh", window.setTimeout(function () { refresh(key); }, 1000));
      }
    }
  }
  function anew(told) {
    const at = document.querySelector("[data-known]");
    // An answer that was overtaken by a later one says nothing new.
    if (!at || told.known.version < known().version) { return; }
    at.known = told.known;
    document.querySelectorAll("[data-panel]").forEach(function (panel) {
      const text = told.panels[panel.dataset.panel];
      if (text === undefined || panel.shown === text) { return; }
      const active = panel.contains(document.activeElement) ? document.activeElement.id : "";
      const input = active ? document.getElementById(active) : null;
      const from = input && input.selectionStart, to = input && input.selectionEnd;
      const opened = [...panel.querySelectorAll("[data-opened]")].map((one) => one.id);
      panel.innerHTML = text;
      panel.shown = text;
      opened.forEach(function (id) {
        const part = document.getElementById(id);
        if (part) { part.hidden = false; part.dataset.opened = ""; }
      });
      panel.querySelectorAll("[data-box]").forEach(function (box) { build(box); fill(box); });
      const again = active && document.getElementById(active);
      if (again) {
        again.focus({ preventScroll: true });
        if (again.setSelectionRange && from !== null && again.type === "text") { again.setSelectionRange(from, to); }
      }
    });
    layNow();
  }

  /* ---- small forms, handed in as a whole ---- */
  async function hand(name, action) {
    const kept = formOf(name);
    kept.pending = true;
    kept.said = null;
    kept.action = action || kept.action;
    write(FORM + name, kept);
    say();
    if (busy.has(FORM + name)) { return; }
    busy.add(FORM + name);
    try {
      const answer = await post(kept.action, { client_key: kept.key, device: device(), fields: kept.values });
      if (answer.ok) {
        tries.delete(FORM + name);
        const shown = document.querySelector(`[data-form="${CSS.escape(name)}"]`);
        if (answer.said.kept) {
          kept.pending = false; kept.since = null; kept.said = null;
          write(FORM + name, kept);
          told(shown, answer.said);
        } else {
          forget(FORM + name);
          if (shown && answer.said.to) { window.location.assign(answer.said.to); }
          else { told(shown, answer.said); }
        }
      } else {
        const now = formOf(name);
        now.pending = false; now.since = null; now.said = answer.said.sentence;
        write(FORM + name, now);
      }
    } catch (_) {
      const now = formOf(name);
      now.since = now.since || new Date().toISOString();
      write(FORM + name, now);
      const made = tries.get(FORM + name) || 0;
      tries.set(FORM + name, made + 1);
      window.setTimeout(function () { handAgain(name); }, AGAIN_MS[Math.min(made, AGAIN_MS.length - 1)]);
    } finally {
      busy.delete(FORM + name);
      lay();
    }
  }
  function handAgain(name) {
    const kept = read(FORM + name);
    if (kept && kept.pending) { hand(name, null); }
  }
  function told(form, said) {
    const at = form && form.querySelector("[data-answer]");
    if (!at) { return; }
    at.replaceChildren(...(said.sentences || [said.sentence]).map((text) => element("p", { textContent: text })));
    at.hidden = false;
    form.querySelectorAll("[data-after]").forEach((one) => { one.hidden = !said.kept; });
    at.scrollIntoView({ block: "nearest" });
  }
  function withFirst(form) {
    // What a form proposed and nobody changed is handed in too.
    const kept = formOf(form.dataset.form);
    form.querySelectorAll("[data-box], [data-choice]").forEach(function (one) {
      const field = one.dataset.box || one.dataset.choice;
      if (!(field in kept.values) && one.dataset.first) { kept.values[field] = one.dataset.first; }
    });
    write(FORM + form.dataset.form, kept);
  }

  /* ---- what is done to a draft as a whole: sign, discard ---- */
  const SIGNED = "asleft.signed.";
  function signedSays(at) {
    const sentences = read(SIGNED + at.dataset.signedOf);
    if (!sentences || at.childElementCount > 0) { return; }
    at.replaceChildren(...sentences.map((text) => element("p", { textContent: text })));
    at.hidden = false;
  }
  async function act(button) {
    if (button.dataset.act === "leave") { window.location.assign("/record"); return; }
    const key = shownKey(), at = document.querySelector(".said[data-of-act]");
    function tell(text) { at.textContent = text; at.hidden = text === ""; }
    await send(key);
    if (Object.keys(draftOf(key).waiting).length > 0) {
      tell("Not done: some of what was typed is still on this device only. It is sent when the network is back.");
      return;
    }
    button.disabled = true;
    tell("");
    try {
      const name = button.dataset.name ? document.getElementById(boxId(button.dataset.name)).value : "";
      const answer = await post(`/drafts/${encodeURIComponent(key)}/${button.dataset.act}${thou()}`, { name: name, version: known().version });
      if (answer.ok) {
        forget(DRAFT + key);
        forget(FORM + "sign:" + key);
        if (answer.said.session) { write(SIGNED + answer.said.session, answer.said.sentences); }
        window.location.assign(answer.said.to);
        return;
      }
      tell(answer.said.sentence);
    } catch (_) {
      tell("The server was not reached. Nothing was changed; try again when the network is back.");
    }
    button.disabled = false;
  }

  const TARGETS = "[data-value], [data-entries], [data-go], [data-tab], [data-roll], [data-focus], [data-reveal], " +
    "[data-send], [data-act]";
  document.addEventListener("click", function (event) {
    const target = event.target.closest ? event.target.closest(TARGETS) : null;
    if (!target || target.disabled) { return; }
    if (target.matches("a")) { event.preventDefault(); }
    const data = target.dataset;
    if (data.value !== undefined) {
      const group = target.closest("[data-choice]");
      const again = value(group.dataset.choice, group) === data.value && !group.hasAttribute("data-one");
      type(group.dataset.choice, again ? "" : data.value, group);
      layNow();
    }
    if (data.entries) { JSON.parse(data.entries).forEach(([field, text]) => { type(field, text, target); }); layNow(); }
    if (data.roll) {
      const around = target.closest("[data-slots]");
      place.slot[around.dataset.slots] = data.roll;
      show();
      const slot = around.querySelector(`[data-slot="${CSS.escape(data.roll)}"] .vl`);
      if (slot) { slot.focus(); }
    }
    if (data.reveal) {
      const part = document.getElementById(data.reveal);
      if (part) {
        part.hidden = false;
        part.dataset.opened = "";
        target.setAttribute("aria-expanded", "true");
        const input = part.querySelector(".vl");
        if (input) { input.focus(); }
      }
    }
    if (data.go) { go(data.go); }
    if (data.tab) { go(behindTab(target)); }
    if (data.focus) {
      const input = document.getElementById(boxId(data.focus));
      if (input) { reveal(input.closest("[data-box]")); input.focus(); if (input.select) { input.select(); } }
    }
    if (data.send !== undefined) {
      const form = formAround(target);
      withFirst(form);
      hand(form.dataset.form, data.send || form.dataset.action);
    }
    if (data.act) { act(target); }
  });
  document.addEventListener("visibilitychange", function () {
    if (document.visibilityState === "hidden") { held(DRAFT).forEach(send); } else { everything(); }
  });
  function everything() {
    tries.clear();
    held(DRAFT).forEach(send);
    held(FORM).forEach(handAgain);
  }
  window.addEventListener("online", everything);
  window.addEventListener("storage", function (event) { if (event.key && event.key.startsWith("asleft.")) { lay(); } });
  window.addEventListener("hashchange", function () { if (steps().length > 0) { fromHash(); show(); } });
  window.setInterval(function () { const key = shownKey(); if (key) { refresh(key); say(); } }, 4000);
  everything();
  lay();
}());
