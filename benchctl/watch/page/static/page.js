// Shows the news of a run. Text is only ever set as text. What is not news any more is taken off the page.
"use strict";

const LOST_AFTER_MS = 3000;
const STOPS_WITHIN_MS = 2000;
const NEAR = 0.8;
const EDGE = 0.9;
const MOST_LIMITS = 4;

const find = (id) => document.getElementById(id);
const folder = new URL(".", location.href);
const token = folder.pathname.split("/")[1];
const isCamera = document.documentElement.dataset.form === "camera";
let lastAt = "";
let lastHeard = performance.now();
let isOver = false;
let isStopping = false;

function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

// Units as they are printed.
const signs = (text) => text.replaceAll(" degC", " °C");

function part(kind, text) {
  const element = document.createElement("span");
  element.className = kind;
  element.textContent = text;
  return element;
}

// As many children as there are items; a child is made anew only where its item has changed.
function fill(list, items, make) {
  items.forEach((item, index) => {
    const key = JSON.stringify(item);
    const there = list.children[index];
    if (there && there.dataset.key === key) return;
    const child = document.createElement("li");
    child.dataset.key = key;
    make(child, item);
    if (there) there.replaceWith(child);
    else list.append(child);
  });
  while (list.children.length > items.length) list.lastChild.remove();
}

function showOutput(child, output) {
  child.append(part("channel", output.channel), part("power", output.power), part("distortion", output.distortion));
  child.append(part("voltage", output.power && !output.voltage.includes(" ") ? "" : output.voltage));
}

function showLimit(child, limit) {
  child.append(part("signal", limit.signal.replaceAll("_", " ")), part("reading", signs(limit.reading)));
  child.classList.toggle("missing", limit.is_missing);
  if (limit.used !== null) {
    const bar = document.createElement("div");
    const used = Math.round(100 * limit.used);
    bar.className = limit.used >= EDGE ? "bar edge" : limit.used >= NEAR ? "bar near" : "bar";
    bar.setAttribute("role", "meter");
    bar.setAttribute("aria-label", `${limit.signal}, part of its limit`);
    bar.setAttribute("aria-valuemin", "0");
    bar.setAttribute("aria-valuemax", "100");
    bar.setAttribute("aria-valuenow", String(used));
    bar.setAttribute("aria-valuetext", `${used} % of the limit`);
    const inner = document.createElement("div");
    inner.style.width = `${used}%`;
    bar.append(inner);
    child.append(bar);
  } else if (!limit.is_missing) {
    child.append(part("none", ""));
  }
  child.append(part("bound", signs(limit.bound)));
}

function showResult(child, result) {
  const name = document.createElement("b");
  name.textContent = result.channel || "all";
  child.append(name, part("result", ` ${result.name}: ${result.value} `), part(result.verdict, result.verdict));
}

// A frame has room for a few limits: those that are nearest, or have no reading.
function nearest(limits) {
  const rank = (limit) => (limit.is_missing ? 2 : limit.used ?? 0);
  return [...limits].sort((one, other) => rank(other) - rank(one)).slice(0, MOST_LIMITS);
}

function show(now) {
  document.body.dataset.state = now.state;
  say(find("headline"), now.headline);
  say(find("sentence"), now.sentence);
  say(find("mark"), now.mark.trim());
  say(find("title"), now.title || "Run");
  document.title = `${now.headline}: ${now.title || "run"}`;
  say(find("step"), now.step ? `${now.step} of ${now.steps}` : "");
  say(find("remaining"), now.remaining);
  say(find("elapsed"), now.elapsed);
  say(find("label"), [now.label, now.progress].filter(Boolean).join(", "));
  say(find("drive"), now.drive);
  const old = now.outputs_are_old;
  const age = now.record_age_s;
  document.querySelector(".outputs").classList.toggle("old", old);
  say(find("age"), age === null ? "" : `last record ${Math.floor(age)} s ago${old ? ": old" : ""}`);
  fill(find("outputs"), now.outputs, showOutput);
  say(find("supply"), now.supply.length ? `supply ${signs(now.supply.join(", "))}` : "");
  fill(find("limits"), isCamera ? nearest(now.limits) : now.limits, showLimit);
  fill(find("parts"), now.parts, (child, each) => {
    child.textContent = each.words;
    child.classList.toggle("open", !each.is_confirmed);
  });
  fill(find("results"), now.results, showResult);
  fill(find("notes"), now.notes, (child, text) => { child.textContent = text; });
}

// A page that has lost its run must not look as if it had not.
function lose() {
  if (isOver) return;
  const since = lastAt ? `NO NEWS SINCE ${lastAt}: LOOK AT THE BENCH` : "NO NEWS OF THE RUN: LOOK AT THE BENCH";
  say(find("lost"), since);
  find("lost").hidden = false;
  document.body.dataset.state = "unsafe";
  say(find("headline"), "UNKNOWN");
  say(find("sentence"), "This page does not know what the bench does. If you are not sure, use the emergency stop.");
  document.title = since;
  for (const id of ["step", "remaining", "elapsed", "label", "drive", "age", "supply"]) say(find(id), "");
  for (const id of ["outputs", "limits", "results", "parts", "notes"]) fill(find(id), [], () => {});
}

function take(now) {
  lastHeard = performance.now();
  lastAt = now.at;
  find("lost").hidden = true;
  show(now);
  if (now.is_over) {
    isOver = true;
    events.close();
    find("stop").disabled = true;
    say(find("stopped"), `The run ended at ${now.at}. This page shows nothing of what came after it.`);
  } else if (now.state === "stopping") {
    find("stop").disabled = true;
    say(find("stopped"), "The run is stopping.");
  } else if (!isStopping) {
    find("stop").disabled = false;
    say(find("stopped"), "");
  }
}

// A run that is told to stop begins to at once. One that does not hangs.
function lookForStop() {
  if (isOver || ["stopping", "unsafe"].includes(document.body.dataset.state)) return;
  say(find("stopped"), "NOT STOPPED YET, although it was told to. Use the emergency stop.");
}

async function stop() {
  isStopping = true;
  find("stop").disabled = true;
  say(find("stopped"), "Asking the run to stop ...");
  try {
    const answer = await fetch(new URL("stop", folder), { method: "POST", headers: { "X-Benchctl-Token": token } });
    if (!answer.ok) throw new Error(await answer.text());
    say(find("stopped"), "The run was told to stop.");
    setTimeout(lookForStop, STOPS_WITHIN_MS);
  } catch (error) {
    isStopping = false;
    find("stop").disabled = false;
    say(find("stopped"), "NOT STOPPED: the run does not answer. Use the emergency stop.");
  }
}

const events = new EventSource(new URL("events", folder));
events.onmessage = (message) => take(JSON.parse(message.data));
events.onerror = lose;
find("stop").addEventListener("click", stop);
setInterval(() => { if (performance.now() - lastHeard > LOST_AFTER_MS) lose(); }, 500);
