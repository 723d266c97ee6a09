// Compares chosen amplifiers: tables and pictures of their newest values. The address keeps which are chosen.
"use strict";

(() => {
  const MOST = drawing.most;
  const LISTED = 100;
  const find = (id) => document.getElementById(id);
  const units = benchctlSite.unitRows.map(([amplifier, serial, name, mark]) => {
    const title = `${amplifier}, ${serialInWords(serial)}${mark ? ` (${mark})` : ""}`;
    return { name, title, text: title.toLowerCase() };
  });
  const byName = new Map(units.map((unit) => [unit.name, unit]));
  const failed = new Set();
  let chosen = [];
  let unknown = 0;

  // Places of a value, as a unit's script has them.
  const QUANTITY = 0, LOAD = 1, CYCLES = 2, VALUE = 3, U = 4, UNIT = 5, TEXT = 6, IS_VALUE = 7, AT = 8, RUN = 9;

  const ohms = (load) => (load === null ? "load not known" : `${load} ohm`);
  const length = (cycles) => (cycles === null ? "continuous" : `${cycles} cycle${cycles === 1 ? "" : "s"}`);
  const unique = (values) => [...new Set(values)];

  // -- choosing -----------------------------------------------------------------------------------------------

  function matching() {
    const words = wordsOf(find("search").value);
    const others = units.filter((unit) => !chosen.includes(unit.name) && holds(unit.text, words));
    return { others, first: others.slice(0, LISTED) };
  }

  function showChoice() {
    const { others, first } = matching();
    const listed = [...chosen.map((name) => byName.get(name)), ...first];
    find("choice").replaceChildren(...listed.map(choiceOf));
    const said = [`${chosen.length} chosen, ${MOST} at most.`];
    if (first.length < others.length) said.push(`The first ${first.length} of ${others.length} are listed: search for others.`);
    if (unknown) said.push(`${unknown} that the address names ${unknown === 1 ? "is" : "are"} not in this collection.`);
    find("count").textContent = said.join(" ");
  }

  function choiceOf(unit) {
    const item = element("li"), label = element("label"), box = element("input");
    box.type = "checkbox";
    box.value = unit.name;
    box.checked = chosen.includes(unit.name);
    box.disabled = !box.checked && chosen.length >= MOST;
    box.addEventListener("change", () => choose(unit.name, box.checked));
    label.append(box, element("bdi", "", unit.title));
    item.append(label);
    return item;
  }

  function choose(name, isChosen) {
    chosen = isChosen ? [...chosen, name] : chosen.filter((each) => each !== name);
    unknown = 0;
    keep({ units: chosen.join(",") });
    showChoice();
    document.querySelector(`#choice input[value="${name}"]`)?.focus();
    showResult();
  }

  // Only names of the list are ever loaded, whatever the address says.
  function takeFromAddress() {
    const named = unique((kept().get("units") ?? "").split(",").filter(Boolean));
    const known = named.filter((name) => byName.has(name));
    chosen = known.slice(0, MOST);
    unknown = named.length - known.length;
  }

  function load(name) {
    const script = element("script");
    script.src = `units/${name}/figures.js`;
    script.addEventListener("error", () => {
      failed.add(name);
      showResult();
    });
    document.head.append(script);
    asked.add(name);
  }
  const asked = new Set();

  // -- the result ---------------------------------------------------------------------------------------------

  function showResult() {
    chosen.filter((name) => !asked.has(name)).forEach(load);
    const there = chosen.filter((name) => benchctlSite.values.has(name));
    const lost = chosen.filter((name) => failed.has(name));
    if (there.length + lost.length < chosen.length) return; // the last one that comes shows all
    const amplifiers = there.map((name, number) => ({ ...byName.get(name), number, ...benchctlSite.values.get(name) }));
    const parts = [...lost.map((name) => element("p", "fails", `The figures of ${byName.get(name).title} cannot be loaded.`))];
    if (amplifiers.length) parts.push(legendOf(amplifiers), ...SECTIONS.flatMap((section) => section(amplifiers)));
    else if (!lost.length) parts.push(element("p", "soft", "Choose amplifiers: their figures appear here."));
    find("result").replaceChildren(...parts);
  }

  function legendOf(amplifiers) {
    const list = element("ul", "legend");
    list.setAttribute("aria-label", "Compared");
    for (const { number, name, title } of amplifiers) {
      const item = element("li");
      item.append(drawing.key(number), link(`units/${name}/index.html`, title));
      list.append(item);
    }
    return list;
  }

  const pointOf = (amplifier, quantity, load, cycles) =>
    amplifier.points.find((p) => p[QUANTITY] === quantity && p[LOAD] === load && p[CYCLES] === cycles);

  const loadsOf = (amplifiers, quantity) =>
    unique(amplifiers.flatMap(({ points }) => points.filter((p) => p[QUANTITY] === quantity).map((p) => p[LOAD]))).sort(
      (one, other) => other - one,
    );

  const NOISES = [
    ["noise", "output noise"],
    ["a_weighted_noise", "output noise, A-weighted"],
    ["signal_to_noise", "signal to noise at rated power"],
  ];

  const SECTIONS = [
    (amplifiers) => {
      const columns = loadsOf(amplifiers, "power").map((load) => [ohms(load), (each) => pointOf(each, "power", load, null)]);
      return section("Continuous power by load", "Clean power of a steady tone.", amplifiers, columns, { withBars: true });
    },
    (amplifiers) => loadsOf(amplifiers, "power").flatMap((load) => burstSection(amplifiers, load)),
    (amplifiers) => {
      const columns = loadsOf(amplifiers, "efficiency").map((load) => [ohms(load), (each) => pointOf(each, "efficiency", load, null)]);
      return section("Efficiency", "Of a steady tone at its clean level.", amplifiers, columns, { withBars: true });
    },
    (amplifiers) => {
      const columns = NOISES.map(([quantity, text]) => [text, (each) => pointOf(each, quantity, null, null)]);
      const measured = columns.filter(([, get]) => amplifiers.some(get));
      return section("Noise", "Without a signal; of the worst channel.", amplifiers, measured, { withBars: true, areAlike: false });
    },
  ];

  // A heading, a picture and a table: a row an amplifier, a column a place.
  function section(title, note, amplifiers, columns, { withBars = false, areAlike = true, picture = null, more = [] } = {}) {
    if (!columns.some(([, get]) => amplifiers.some(get))) return [];
    const made = element("section");
    made.append(element("h2", "", title));
    const points = columns.flatMap(([, get]) => amplifiers.map(get).filter(Boolean));
    const conditions = unique(points.map((p) => p[AT]));
    const said = conditions.length === 1 ? conditions[0] && `All at ${conditions[0]}.` : "";
    made.append(element("p", "soft", [note, said].filter(Boolean).join(" ")));
    if (conditions.length > 1) {
      made.append(element("p", "untold", "Not all were measured under the same conditions, which stand below each value. A difference may come from that."));
    }
    if (withBars) made.append(barsOf(amplifiers, columns, areAlike));
    if (picture) made.append(picture);
    made.append(tableOf(title, amplifiers, columns, conditions.length > 1, more));
    return [made];
  }

  function burstSection(amplifiers, load) {
    const lengths = unique(
      amplifiers.flatMap(({ points }) => points.filter((p) => p[QUANTITY] === "power" && p[LOAD] === load).map((p) => p[CYCLES])),
    ).sort((one, other) => (one ?? Infinity) - (other ?? Infinity));
    if (!lengths.some((each) => each !== null)) return [];
    const columns = lengths.map((cycles) => [length(cycles), (each) => pointOf(each, "power", load, cycles)]);
    const title = `Burst against continuous, ${ohms(load)}`;
    const picture = picturesOf(title, amplifiers, columns);
    const more = [["shortest burst over continuous", (each) => ratioOf(columns.map(([, get]) => get(each)))]];
    return section(title, "Clean power of bursts: that of the weakest whole cycle. The ratio counts the errors of both powers as independent.", amplifiers, columns, { picture, more });
  }

  // As for independent errors; instruments that err alike in both make it better than that, never worse.
  function ratioOf(points) {
    const burst = points.find((p) => p && p[CYCLES] !== null), tone = points.find((p) => p && p[CYCLES] === null);
    if (!burst || !tone) return "not measured";
    if (!burst[IS_VALUE] || !tone[IS_VALUE] || !burst[U] || !tone[U]) return "cannot be told";
    if (burst[AT] !== tone[AT]) return "other conditions";
    const ratio = burst[VALUE] / tone[VALUE];
    const uncertainty = ratio * Math.hypot(burst[U] / burst[VALUE], tone[U] / tone[VALUE]);
    const digits = Math.max(0, 1 - Math.floor(Math.log10(uncertainty)));
    return `${ratio.toFixed(digits)} ± ${uncertainty.toFixed(digits)} (${length(burst[CYCLES])})`;
  }

  // -- pictures and tables ------------------------------------------------------------------------------------

  const roomFor = (most) => Math.max(240, Math.min(most, find("result").clientWidth));
  const drawn = (point) => (point?.[IS_VALUE] ? [point[VALUE], point[U]] : null);

  function barsOf(amplifiers, columns, areAlike) {
    const figure = element("figure", "bars");
    const largestOf = (some) =>
      drawing.roundUp(Math.max(0, ...some.flatMap(([, get]) => amplifiers.map((each) => drawn(get(each)))).filter(Boolean).map(([v, u]) => v + u)));
    const width = roomFor(640);
    for (const column of columns) {
      const [text, get] = column;
      const largest = largestOf(areAlike ? columns : [column]);
      figure.append(element("h3", "", text));
      for (const amplifier of amplifiers) {
        const point = get(amplifier), row = element("div", "bar-row");
        const said = element("span", point?.[IS_VALUE] ? "" : "untold", point?.[TEXT] ?? "not measured");
        row.append(element("bdi", "", amplifier.title), said);
        figure.append(row);
        if (drawn(point)) figure.append(drawing.bar(amplifier.number, ...drawn(point), largest, width));
      }
    }
    return figure;
  }

  function picturesOf(title, amplifiers, columns) {
    const series = amplifiers.map((each) => ({ number: each.number, values: columns.map(([, get]) => drawn(get(each))) }));
    if (!series.some(({ values }) => values.some(Boolean))) return null;
    const alt = `${title}. ${amplifiers.map((each) => `${each.title}: ${columns.map(([text, get]) => `${text} ${get(each)?.[TEXT] ?? "not measured"}`).join(", ")}`).join(". ")}.`;
    const figure = element("figure");
    figure.append(drawing.lines({ places: columns.map(([text]) => text), series, unit: "W", width: roomFor(640), alt }));
    return figure;
  }

  function tableOf(title, amplifiers, columns, withConditions, more) {
    const box = element("div", "wide cards"), table = element("table"), id = `table-${title.replaceAll(/[^a-z0-9]+/gi, "-")}`;
    for (const [name, value] of [["role", "region"], ["tabindex", "0"], ["aria-labelledby", id]]) box.setAttribute(name, value);
    table.setAttribute("role", "table");
    const caption = element("caption");
    caption.id = id;
    caption.append(element("span", "", title), " ", element("span", "note", "±: expanded uncertainty, 95 %. Each value is linked to the run that measured it."));
    const heads = ["amplifier", ...columns.map(([text]) => text), ...more.map(([text]) => text)];
    table.append(caption, headOf(heads), bodyOf(amplifiers, columns, withConditions, more, heads));
    box.append(table);
    return box;
  }

  function headOf(heads) {
    const head = element("thead"), row = element("tr");
    head.setAttribute("role", "rowgroup");
    row.setAttribute("role", "row");
    for (const text of heads) {
      const cell = element("th", "", text);
      cell.scope = "col";
      cell.setAttribute("role", "columnheader");
      row.append(cell);
    }
    head.append(row);
    return head;
  }

  function bodyOf(amplifiers, columns, withConditions, more, heads) {
    const body = element("tbody");
    body.setAttribute("role", "rowgroup");
    for (const amplifier of amplifiers) {
      const row = element("tr"), name = element("th");
      row.setAttribute("role", "row");
      name.scope = "row";
      name.setAttribute("role", "rowheader");
      name.append(element("bdi", "", amplifier.title));
      const points = columns.map(([, get]) => get(amplifier));
      const said = saidOnce(amplifier, points.filter(Boolean));
      if (said) name.append(element("span", "under", said));
      const cells = [name, ...points.map((point) => valueCell(amplifier, point, withConditions, !said))];
      for (const [, said] of more) cells.push(element("td", "", said(amplifier)));
      cells.forEach((cell, place) => {
        cell.dataset.head = heads[place];
        if (place) cell.setAttribute("role", "cell");
      });
      row.append(...cells);
      body.append(row);
    }
    return body;
  }

  const runInWords = ([, date, remark]) => [date, remark].filter(Boolean).join(", ");

  // The run that all values of a row are from, if there is but one.
  function saidOnce(amplifier, points) {
    const runs = unique(points.map((point) => point[RUN]));
    return runs.length === 1 ? runInWords(amplifier.runs[runs[0]]) : "";
  }

  function valueCell(amplifier, point, withConditions, withRun) {
    if (!point) return element("td", "untold", "not measured");
    const cell = element("td", point[IS_VALUE] ? "" : "untold");
    const run = amplifier.runs[point[RUN]];
    cell.append(link(run[0], point[TEXT], "value"));
    const under = [withRun && runInWords(run), withConditions && point[AT]].filter(Boolean).join(", ");
    if (under) cell.append(element("span", "under", under));
    return cell;
  }

  // -- beginning ----------------------------------------------------------------------------------------------

  benchctlSite.onUnit = showResult;
  find("search").addEventListener("input", whenQuiet(showChoice));
  window.addEventListener("hashchange", () => {
    takeFromAddress();
    showChoice();
    showResult();
  });
  let width = 0;
  new ResizeObserver(
    whenQuiet(() => {
      if (find("result").clientWidth !== width) showResult();
      width = find("result").clientWidth;
    }),
  ).observe(find("result"));
  find("compare").hidden = false;
  takeFromAddress();
  showChoice();
  showResult();
})();
