// Draws values with their uncertainties as SVG. What is only a bound, or was not measured, is never drawn.
"use strict";

const drawing = (() => {
  const SVG = "http://www.w3.org/2000/svg";
  // Beside its colour each series has a mark and a dash of its own.
  const MARKS = ["circle", "square", "triangle", "diamond", "cross", "plus"];
  const DASHES = ["", "7 3", "2 3", "9 3 2 3", "5 2", "1 2"];

  function shape(name, attributes, kind = "") {
    const made = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, String(value));
    if (kind) made.setAttribute("class", kind);
    return made;
  }

  function sheet(width, height) {
    return shape("svg", { viewBox: `0 0 ${width} ${height}`, width, height });
  }

  // The next 1, 2, 2.5 or 5 times a power of ten, so that an axis of four parts has round numbers.
  function roundUp(value) {
    if (!(value > 0)) return 1;
    const power = 10 ** Math.floor(Math.log10(value));
    return [1, 2, 4, 6, 8, 10].find((step) => step * power >= value * 0.999999) * power;
  }

  // A series' mark around a point.
  function mark(series, x, y, size = 4.5) {
    const kind = `mark series-${series}`;
    const path = (d, more = "") => shape("path", { d }, kind + more);
    const s = size;
    switch (MARKS[series]) {
      case "circle":
        return shape("circle", { cx: x, cy: y, r: s }, kind);
      case "square":
        return shape("rect", { x: x - s, y: y - s, width: 2 * s, height: 2 * s }, kind);
      case "triangle":
        return path(`M${x} ${y - s * 1.2}L${x + s * 1.2} ${y + s}L${x - s * 1.2} ${y + s}Z`);
      case "diamond":
        return path(`M${x} ${y - s * 1.4}L${x + s * 1.4} ${y}L${x} ${y + s * 1.4}L${x - s * 1.4} ${y}Z`);
      case "cross":
        return path(`M${x - s} ${y - s}L${x + s} ${y + s}M${x - s} ${y + s}L${x + s} ${y - s}`, " open");
      default:
        return path(`M${x - s} ${y}H${x + s}M${x} ${y - s}V${y + s}`, " open");
    }
  }

  // A dash of a series with its mark, to stand before its name.
  function key(series) {
    const made = sheet(34, 14);
    made.setAttribute("aria-hidden", "true");
    made.append(lineOf(series, [[1, 7], [33, 7]]), mark(series, 17, 7));
    return made;
  }

  function lineOf(series, points) {
    const d = points.map(([x, y], place) => `${place ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`).join("");
    return shape("path", { d, "stroke-dasharray": DASHES[series] || "none" }, `line series-${series}`);
  }

  // One value as a bar from nought, with its uncertainty as a whisker.
  function bar(series, value, uncertainty, largest, width) {
    const made = sheet(width, 16);
    made.setAttribute("aria-hidden", "true");
    const at = (v) => 1 + Math.max(0, Math.min(1, v / largest)) * (width - 2);
    made.append(shape("rect", { x: 1, y: 4, width: Math.max(1, at(value) - 1), height: 8 }, `bar series-${series}`));
    if (uncertainty > 0) {
      const [from, to] = [at(value - uncertainty), at(value + uncertainty)].map((v) => v.toFixed(1));
      made.append(shape("path", { d: `M${from} 8H${to}M${from} 4V12M${to} 4V12` }, "whisker"));
    }
    return made;
  }

  // Values against a row of places: `series` holds for each amplifier [value, uncertainty] or null at each place.
  function lines({ places, series, unit, width, alt }) {
    const [left, right, top, bottom] = [48, 8, 28, 44];
    const height = 264;
    const made = sheet(width, height);
    made.setAttribute("role", "img");
    made.setAttribute("aria-label", alt);
    const all = series.flatMap(({ values }) => values).filter(Boolean);
    const largest = roundUp(Math.max(...all.map(([value, uncertainty]) => value + uncertainty)));
    const x = (place) => left + ((place + 0.5) / places.length) * (width - left - right);
    const y = (value) => top + (1 - Math.max(0, value) / largest) * (height - top - bottom);
    for (let part = 0; part <= 4; part += 1) {
      const value = (largest * part) / 4;
      made.append(shape("path", { d: `M${left} ${y(value)}H${width - right}` }, part ? "grid" : "axis"));
      made.append(label(left - 8, y(value) + 4, String(Number(value.toPrecision(6))), "end"));
    }
    // "8 cycles" in two lines, so that the names of many places find room beside each other on a phone.
    places.forEach((text, place) =>
      text.split(" ").forEach((word, line) => made.append(label(x(place), height - bottom + 18 + 15 * line, word, "middle"))),
    );
    made.append(label(left - 8, top - 14, unit, "end"));
    // Amplifiers stand a little beside each other, so that no whisker hides another.
    series.forEach(({ number, values }, place) => {
      const aside = (place - (series.length - 1) / 2) * 7;
      const points = values.map((value, at) => value && [x(at) + aside, ...value]);
      drawSeries(made, number, points, y);
    });
    return made;
  }

  function drawSeries(made, number, points, y) {
    let piece = [];
    for (const point of [...points, null]) {
      if (point) piece.push([point[0], y(point[1])]);
      if (!point && piece.length > 1) made.append(lineOf(number, piece));
      if (!point) piece = [];
    }
    for (const [x, value, uncertainty] of points.filter(Boolean)) {
      const [low, high] = [y(value - uncertainty).toFixed(1), y(value + uncertainty).toFixed(1)];
      const [from, to] = [x - 3, x + 3];
      if (uncertainty > 0) made.append(shape("path", { d: `M${x} ${low}V${high}M${from} ${low}H${to}M${from} ${high}H${to}` }, "whisker"));
      made.append(mark(number, x, y(value)));
    }
  }

  function label(x, y, text, anchor) {
    const made = shape("text", { x, y, "text-anchor": anchor });
    made.textContent = text;
    return made;
  }

  return { bar, lines, key, roundUp, most: MARKS.length };
})();
