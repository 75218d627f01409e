// Wires the page: the stream fills the store, the store is drawn.

import { Ask } from "./ask.js";
import { byId, mark, say } from "./dom.js";
import { Meter } from "./meter.js";
import { showRecords } from "./records.js";
import { Run } from "./run.js";
import { settings, wireSettings } from "./settings.js";
import { Sound } from "./sound.js";
import { Speech } from "./speech.js";
import { Store } from "./store.js";
import { Stream } from "./stream.js";
import { Wake } from "./wake.js";

const LET_GO =
  "The terminal has let this screen go: it can look and no longer act. To act again, scan the code at the terminal.";
const VIEWS = ["live", "run", "records"];
const store = new Store();
const stream = new Stream({ row, now, link });
const meter = new Meter(store, stream);
const ask = new Ask(store);
const run = new Run(store, stream);
const sound = new Sound();
const speech = new Speech();
const wake = new Wake();
let loads = 0;

// The present state follows in the same piece of the stream, and draws the reading.
function row(one) {
  if (store.row(one)) run.later();
}

function now(state) {
  store.now(state);
  if (state.pair) load();
  if (state.says) run.later();
  ask.draw();
  meter.later();
}

function link(state) {
  const silent = Math.floor(stream.silentMs / 1000);
  const words = {
    live: "live",
    lost: stream.heardAt ? `no connection for ${silent} s` : "no connection",
    ended: "the program has ended",
  };
  if (state === "ended") {
    store.now({ view: {}, prompt: {} });
    ask.draw();
  }
  mark(byId("link"), "state", state);
  say(byId("link-words"), store.fault || words[state]);
}

async function load() {
  const mine = ++loads;
  const answer = await fetch("/site.json");
  if (!answer.ok) return;
  const site = await answer.json();
  if (mine !== loads) return; // overtaken by a later question, which knows better who may act
  const acted = store.site?.may_act;
  store.site = site;
  const { ident, run: number, station, runway, frequency, may_act: acts } = store.site;
  say(byId("ident"), `${ident} ${frequency}`);
  say(
    byId("which"),
    [acts ? "" : "looking on", number ? `run ${number}` : "", `runway ${runway}`, station]
      .filter(Boolean)
      .join(", "),
  );
  document.title = `${ident} trimbench`;
  if (number === null && !location.hash) location.hash = "#records";
  ask.draw();
  if (acted && !acts) ask.tell(LET_GO);
}

async function pair() {
  const token = /^#pair=([\w-]+)$/.exec(location.hash)?.[1];
  if (!token) return;
  history.replaceState(null, "", "/"); // the token must not stay in the browser's history
  const answer = await fetch("/pair", {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify({ token }),
  });
  if (!answer.ok) ask.tell(await answer.text());
}

function choose() {
  const wanted = location.hash.slice(1);
  const view = VIEWS.includes(wanted) ? wanted : "live";
  document.documentElement.dataset.view = view;
  for (const tab of document.querySelectorAll(".tabs a")) {
    if (tab.dataset.view === view) tab.setAttribute("aria-current", "page");
    else tab.removeAttribute("aria-current");
  }
  if (view === "records") showRecords();
}

function key(event) {
  const typing = event.target.closest?.("input, select, textarea, dialog");
  if (settings.keys !== "on" || typing || event.ctrlKey || event.metaKey || event.altKey) return;
  const deed = { c: "capture", r: "redo" }[event.key];
  if (deed && !byId("actions").hidden && !byId(deed).disabled && !event.repeat) ask.watch(deed);
}

wireSettings();
addEventListener("hashchange", choose);
addEventListener("keydown", key);
setInterval(() => {
  const stale = meter.box.dataset.stale === "yes";
  sound.follow(store.shown, stale);
  speech.follow(store.shown, stale);
  wake.follow(Boolean(store.view));
}, 60);
await pair();
choose();
await load();
stream.open();
