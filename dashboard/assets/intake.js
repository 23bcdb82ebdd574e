/* Bringing a source to the Records page, and taking facts back there.

   The page says what is what by attributes:
     data-drop               where files may be dropped
     data-pick               a button that opens the file chooser: files, folder, again (whatever it was before)
     data-picked             says what was chosen
     data-typed              an empty place for a box, made here so that no redrawing takes it from under the typing
     data-look               sends the files to see what would happen; data-take takes them in, data-leave forgets them
     data-sound              looks again at what was sent, its unsound sessions left out; the source's number
     data-sending, data-progress   what is going on, and how far it is
     data-post, data-kind, data-number, data-then   a fact that is handed in by data-hand-in; data-handed says how it went
     data-heard              what was done on the page before

   Looking and taking send the same files: the server keeps nothing between. A source that is refused stands in the
   server's list, and this page goes to it. */
(function () {
  "use strict";
  const MB = 1000000, MOST_FILE = 200 * MB, MOST = 1000 * MB, NAME = "asleft.name", HEARD = "asleft.heard";
  const FORMAT = /\.(csv|xlsx|xlsm|xltx|xltm|xlsb|xls|ods)$/i;
  const LOST = "The server was not reached. What was sent is not lost here: try again when it answers.";
  let held = { files: [], name: "", sound: false, answer: null };
  let going = null, lastPick = "files", left = "";
  // Read once, while the page is loaded: what is said from now on is for the page after this one.
  try { left = window.sessionStorage.getItem(HEARD) || ""; window.sessionStorage.removeItem(HEARD); } catch (_) { left = ""; }

  function $(selector) { return document.querySelector(selector); }
  function keep(key, value) { try { window.localStorage.setItem(key, value); } catch (_) { /* a private window */ } }
  function kept(key) { try { return window.localStorage.getItem(key) || ""; } catch (_) { return ""; } }
  function unique() {
    return [...window.crypto.getRandomValues(new Uint8Array(12))].map((b) => b.toString(16).padStart(2, "0")).join("");
  }
  function size(bytes) {
    if (bytes >= MB) { return (bytes / MB).toFixed(1) + " MB"; }
    return Math.max(1, Math.round(bytes / 1000)) + " kB";
  }
  function say(selector, text, bad) {
    const at = $(selector);
    if (!at) { return; }
    at.textContent = text;
    at.classList.toggle("bad", Boolean(bad));
  }
  function sending(text, bad) { say("[data-sending]", text, bad); }
  function show(answer) {
    if (window.dash_clientside && $("#intake-said")) {
      window.dash_clientside.set_props("intake-answer", { data: answer });
    }
  }
  function go(to) {
    if (window.location.pathname + window.location.search === to) { return; }
    window.history.pushState({}, "", to);
    window.dispatchEvent(new CustomEvent("_dashprivate_pushstate"));
    window.dispatchEvent(new PopStateEvent("popstate"));
  }

  /* ---- boxes ---- */
  function mount() {
    document.querySelectorAll(".rcs [data-typed]").forEach(function (place) {
      if (place.firstChild) { return; }
      const box = document.createElement("input"), what = place.dataset.typed;
      box.type = "text";
      box.id = "typed-" + what;
      box.className = "box";
      box.maxLength = what === "why" ? 2000 : 80;
      if (what.startsWith("who")) { box.autocomplete = "name"; box.value = kept(NAME); }
      box.addEventListener("input", function () { if (what.startsWith("who")) { keep(NAME, box.value); } });
      box.addEventListener("keydown", function (event) {
        if (event.key !== "Enter") { return; }
        event.preventDefault();
        const form = box.closest("[data-post]");
        if (form) { hand(form); } else { look(false); }
      });
      place.appendChild(box);
    });
    const heard = $("[data-heard]");
    if (heard && left && !heard.textContent) { heard.textContent = left; left = ""; }
    const picked = $("[data-picked]");
    if (picked && !picked.textContent && held.files.length) { tellPicked(); }
  }
  function whoTyped() { const box = $("#typed-who"); return box ? box.value.trim() : ""; }

  /* ---- choosing ---- */
  function choose(kind) {
    if (kind !== "again") { lastPick = kind; }
    const picker = document.createElement("input");
    picker.type = "file";
    picker.multiple = true;
    if (lastPick === "folder") { picker.webkitdirectory = true; } else { picker.accept = ".csv,.xlsx"; }
    picker.hidden = true;
    picker.id = "picker";
    const old = $("#picker");
    if (old) { old.remove(); }
    document.body.appendChild(picker);
    picker.addEventListener("change", function () {
      const files = [...picker.files].map((file) => ({ file, path: file.webkitRelativePath || file.name }));
      picker.remove();
      hold(files);
    });
    picker.click();
  }
  async function dropped(transfer) {
    const entries = [...transfer.items].map((item) => item.webkitGetAsEntry && item.webkitGetAsEntry()).filter(Boolean);
    const files = [];
    for (const entry of entries) {
      if (entry.isFile) {
        files.push(await new Promise((done, fail) => entry.file((file) => done({ file, path: file.name }), fail)));
      } else if (entry.isDirectory) {
        const reader = entry.createReader();
        for (;;) {
          const some = await new Promise((done, fail) => reader.readEntries(done, fail));
          if (!some.length) { break; }
          for (const inner of some.filter((each) => each.isFile)) {
            files.push(await new Promise((done, fail) => inner.file(
              (file) => done({ file, path: entry.name + "/" + file.name }), fail)));
          }
        }
      }
    }
    hold(files.length ? files : [...transfer.files].map((file) => ({ file, path: file.name })));
  }
  function hold(files) {
    if (going) { sending("Something is being sent already; wait for it, or stop it.", true); return; }
    const wanted = files.filter((each) => FORMAT.test(each.path));
    if (!wanted.length) {
      if (files.length) { sending("There is no XLSX workbook and no CSV file among these; nothing was sent.", true); }
      return;
    }
    const big = wanted.find((each) => each.file.size > MOST_FILE);
    const whole = wanted.reduce((sum, each) => sum + each.file.size, 0);
    if (big) {
      sending(big.file.name + " has " + size(big.file.size) + "; at most 200 MB a file are read. Split it.", true);
      return;
    }
    if (whole > MOST) { sending("These files hold " + size(whole) + " together; at most 1 GB is read. Split them.", true); return; }
    held = { files: wanted, name: "", sound: false, answer: null };
    show(null);
    sending("", false);
    tellPicked();
    if (whoTyped()) { look(false); } else {
      const box = $("#typed-who");
      if (box) { box.focus(); }
      sending("Type your name, then see what would happen.", false);
    }
  }
  function tellPicked() {
    const names = held.files.map((each) => each.path), whole = held.files.reduce((sum, each) => sum + each.file.size, 0);
    const shown = names.slice(0, 3).join(", ") + (names.length > 3 ? " and " + (names.length - 3) + " more" : "");
    say("[data-picked]", "Chosen: " + shown + ", " + size(whole) + ".", false);
  }

  /* ---- sending ---- */
  function look(sound) {
    if (going) { return; }
    if (!held.files.length) { sending("Choose a workbook or a folder’s files first.", true); return; }
    if (!whoTyped()) { sending("Type your name first; the list of what came in keeps it.", true); $("#typed-who").focus(); return; }
    held.sound = sound;
    send("look");
  }
  function send(what) {
    const key = unique(), form = new FormData(), xhr = new XMLHttpRequest();
    form.append("who", whoTyped());
    form.append("key", key);
    form.append("by_session", held.sound ? "yes" : "no");
    held.files.forEach((each) => form.append("files", each.file, each.path));
    going = { key, xhr, what, sent: false, timer: null, asked: false };
    document.querySelectorAll("[data-look], [data-take], [data-leave], [data-sound]").forEach((b) => { b.disabled = true; });
    bar(0);
    sending("Sending …", false);
    xhr.upload.addEventListener("progress", function (event) {
      if (event.lengthComputable) { bar(event.loaded / event.total); }
    });
    xhr.upload.addEventListener("load", function () {
      if (!going) { return; }
      going.sent = true;
      bar(null);
      going.timer = window.setInterval(ask, 700);
    });
    xhr.addEventListener("load", function () { done(xhr); });
    xhr.addEventListener("error", function () {
      const after = what === "take" ? LOST + " Look at the list first: it says if it was taken." : LOST;
      end();
      sending(after, true);
    });
    xhr.addEventListener("abort", function () { end(); sending("Stopped. Nothing was taken; the record is as it was.", false); });
    xhr.open("POST", "/records/intake/" + what);
    xhr.send(form);
  }
  function bar(share) {
    const place = $("[data-progress]");
    if (!place) { return; }
    let line = place.querySelector("progress");
    if (!line) {
      line = document.createElement("progress");
      line.max = 1;
      line.setAttribute("aria-label", "How far the sending has come");
      const stop = document.createElement("button");
      stop.type = "button";
      stop.className = "btn plain stop";
      stop.textContent = "Stop";
      stop.addEventListener("click", halt);
      place.append(line, stop);
    }
    if (share === null) { line.removeAttribute("value"); } else { line.value = share; }
  }
  async function ask() {
    const at = going;
    if (!at) { return; }
    try {
      const told = await (await fetch("/records/intake/" + at.key)).json();
      if (going !== at || !told.what) { return; }
      const text = told.what.charAt(0).toUpperCase() + told.what.slice(1) + " …";
      sending(at.asked ? "Stopping …" : text, false);
      const stop = $("[data-progress] .stop");
      if (stop) { stop.hidden = !told.can_stop; }
    } catch (_) { /* the sending itself says when the server is gone */ }
  }
  function halt() {
    if (!going) { return; }
    if (!going.sent) { going.xhr.abort(); return; }
    going.asked = true;
    sending("Stopping …", false);
    // What was asked is answered by the sending itself: stopped, or done before anybody could stop it.
    fetch("/records/intake/" + going.key + "/stop", { method: "POST" }).catch(function () { sending(LOST, true); });
  }
  function end() {
    if (going && going.timer) { window.clearInterval(going.timer); }
    going = null;
    const place = $("[data-progress]");
    if (place) { place.textContent = ""; }
    document.querySelectorAll("[data-look], [data-take], [data-leave], [data-sound]").forEach((b) => { b.disabled = false; });
  }
  function done(xhr) {
    const what = going ? going.what : "look";
    end();
    let answer = null;
    try { answer = JSON.parse(xhr.responseText); } catch (_) { answer = null; }
    if (!answer) {
      sending("The server could not read what was sent (" + xhr.status + "). Nothing was taken; load the page again.", true);
      return;
    }
    if (answer.error) { sending(answer.error, true); return; }
    if (answer.stopped) { sending(answer.stopped, false); return; }
    held.answer = answer;
    if (answer.result === "refused") {
      sending("Refused: nothing of it was taken. What stands in the way is listed below.", true);
      go("/records?source=" + answer.intake + unit("&"));
      return;
    }
    if (answer.result === "taken") {
      const rows = answer.taken.reduce((sum, each) => sum + each[1], 0);
      const text = rows + " rows were taken from " + answer.source + ". What they are stands in the list below.";
      held = { files: [], name: "", sound: false, answer: null };
      leaveWord(text);
      if (what === "take") { listed(); }
      return;
    }
    sending("", false);
    show(answer);
    window.setTimeout(function () {
      const found = $("[data-found]");
      if (found) { found.scrollIntoView({ block: "nearest" }); }
    }, 400);
  }
  function unit(before) {
    const chosen = new URLSearchParams(window.location.search).get("unit");
    return chosen ? before + "unit=" + encodeURIComponent(chosen) : "";
  }
  function leaveWord(text) { try { window.sessionStorage.setItem(HEARD, text); } catch (_) { sending(text, false); } }
  function listed() { window.location.assign("/records" + unit("?")); }

  /* ---- a fact handed in ---- */
  async function hand(form) {
    const who = form.querySelector("#typed-who-fact").value, why = form.querySelector("#typed-why").value;
    const button = form.querySelector("[data-hand-in]");
    button.disabled = true;
    say("[data-handed]", "", false);
    let answer = null;
    try {
      const response = await fetch(form.dataset.post, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ kind: form.dataset.kind, number: Number(form.dataset.number), who, why }),
      });
      answer = await response.json();
    } catch (_) { answer = { error: "The server was not reached; nothing was changed. Try again." }; }
    button.disabled = false;
    if (answer.error) { say("[data-handed]", answer.error, true); return; }
    leaveWord(answer.said);
    window.location.assign(form.dataset.then);
  }

  /* ---- hearing ---- */
  document.addEventListener("click", function (event) {
    const at = event.target.closest ? event.target.closest("button") : null;
    if (!at || !at.closest(".rcs")) { return; }
    if ("pick" in at.dataset) { choose(at.dataset.pick); }
    if ("look" in at.dataset) { look(false); }
    if ("take" in at.dataset && !going) { send("take"); }
    if ("leave" in at.dataset) {
      held = { files: [], name: "", sound: false, answer: null };
      show(null);
      say("[data-picked]", "", false);
      sending("Nothing was taken.", false);
    }
    if ("sound" in at.dataset) {
      if (held.files.length && held.answer && String(held.answer.intake) === at.dataset.sound) { look(true); } else {
        say("[data-way-said]", "This page no longer holds the files. Choose the same source once more above, then press this again.", false);
        choose("again");
      }
    }
    if ("handIn" in at.dataset) { hand(at.closest("[data-post]")); }
  });
  function over(event) {
    const drop = $(".rcs [data-drop]");
    if (!drop || !event.dataTransfer || ![...event.dataTransfer.types].includes("Files")) { return null; }
    event.preventDefault();
    return drop;
  }
  // Files let go anywhere on this page are meant for it: a browser would else leave the page and open them.
  document.addEventListener("dragover", function (event) { const drop = over(event); if (drop) { drop.dataset.over = ""; } });
  document.addEventListener("dragleave", function (event) {
    const drop = $(".rcs [data-drop]");
    if (drop && event.relatedTarget === null) { delete drop.dataset.over; }
  });
  document.addEventListener("drop", function (event) {
    const drop = over(event);
    if (!drop) { return; }
    delete drop.dataset.over;
    dropped(event.dataTransfer).catch(function () {
      sending("What was dropped cannot be read; choose it with a button instead.", true);
    });
  });
  window.addEventListener("beforeunload", function (event) {
    if (going && going.what === "take") { event.preventDefault(); }
  });
  new MutationObserver(mount).observe(document.documentElement, { childList: true, subtree: true });
  mount();
}());
