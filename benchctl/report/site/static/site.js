// Takes what the data scripts hand over: lists of units and runs, and the values of one unit each.
"use strict";

const benchctlSite = {
  unitRows: [],
  runTable: null,
  values: new Map(), // folder of a unit -> what it is compared by
  onUnit: () => {},
  units(rows) {
    this.unitRows = rows;
  },
  runs(table) {
    this.runTable = table;
  },
  unit(data) {
    this.values.set(data.name, data);
    this.onUnit(data.name);
  },
};

// An element with a class and a text. Text from a file is only ever set as text, never as markup.
function element(name, kind = "", text = "") {
  const made = document.createElement(name);
  if (kind) made.className = kind;
  if (text) made.textContent = text;
  return made;
}

// A link whose text may be written in any direction.
function link(href, text, kind = "") {
  const made = element("a", kind);
  made.href = href;
  made.append(element("bdi", "", text));
  return made;
}

const serialInWords = (serial) => (serial ? `serial ${serial}` : "no serial number");

// What is written in the address behind #, as names and values, and the same written there.
const kept = () => new URLSearchParams(location.hash.slice(1));
function keep(values) {
  const text = Object.entries(values)
    .filter(([, value]) => value)
    .map(([name, value]) => `${name}=${encodeURIComponent(value).replaceAll("%2C", ",")}`)
    .join("&");
  history.replaceState(null, "", text ? `#${text}` : location.pathname + location.search);
}

// Calls `act` once nothing has been typed for a moment.
function whenQuiet(act, quietMs = 120) {
  let timer = 0;
  return () => {
    clearTimeout(timer);
    timer = setTimeout(act, quietMs);
  };
}

// Whether every word of a search is somewhere in a text of small letters.
const wordsOf = (text) => text.toLowerCase().split(/\s+/).filter(Boolean);
const holds = (text, words) => words.every((word) => text.includes(word));
