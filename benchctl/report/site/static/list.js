// Search and sorting of all runs. The page comes with the newest hundred rows; others are made of the lists.
"use strict";

(() => {
  const ON_ONE_PAGE = 100;
  const find = (id) => document.getElementById(id);
  const { sequences, verdicts, looks, remarks, marks, rows } = benchctlSite.runTable;
  const units = benchctlSite.unitRows;

  // Places of a row, as the list has them.
  const UNIT = 0, SEQUENCE = 1, VERDICT = 2, LOOK = 3, REMARK = 4, MARK = 5, WATTS = 6, FOUND = 7, NAME = 8, BEGAN = 9;

  const dateOf = ({ [BEGAN]: b }) =>
    b ? `${b.slice(0, 4)}-${b.slice(4, 6)}-${b.slice(6, 8)} ${b.slice(9, 11)}:${b.slice(11, 13)}` : "not known";
  const folderOf = (row) => `units/${units[row[UNIT]][2]}/`;
  const pageOf = (row) => `${folderOf(row)}${row[NAME] || row[BEGAN]}.html`;

  // What is searched of a row, in small letters; made when somebody searches for the first time.
  let texts = null;
  function searched() {
    texts ??= rows.map((row) => {
      const [amplifier, serial] = units[row[UNIT]];
      const parts = [amplifier, serialInWords(serial), sequences[row[SEQUENCE]], dateOf(row), row[FOUND]];
      return [...parts, verdicts[row[VERDICT]], remarks[row[REMARK]], marks[row[MARK]]].join("\n").toLowerCase();
    });
    return texts;
  }

  // Sorting compares numbers only: of texts, their place among all texts of their column.
  const collator = new Intl.Collator("en", { numeric: true });
  function placesOf(list) {
    const order = list.map((_, place) => place).sort((one, other) => collator.compare(list[one], list[other]));
    const places = [];
    order.forEach((place, rank) => (places[place] = rank));
    return places;
  }
  const byText = (list, column) => {
    const places = placesOf(list);
    return (row) => places[row[column]];
  };
  // Units are listed in the order of a catalogue, and runs from the newest to the oldest.
  const KEYS = {
    amplifier: () => (row) => row[UNIT],
    // A run without a power comes last, whichever way the others are sorted.
    found: () => (row) => row[WATTS] || (isDown ? -Infinity : Infinity),
    verdict: () => byText(verdicts, VERDICT),
    sequence: () => byText(sequences, SEQUENCE),
    date: () => (_, place) => -place,
  };
  const DOWN_FIRST = new Set(["found", "date"]);

  let words = [], sort = "date", isDown = true, shown = ON_ONE_PAGE, found = [];

  function look() {
    const key = KEYS[sort]();
    const keys = rows.map(key);
    found = rows.map((_, place) => place);
    if (words.length) {
      const all = searched();
      found = found.filter((place) => holds(all[place], words));
    }
    const sign = isDown ? -1 : 1;
    found.sort((one, other) => sign * (keys[one] - keys[other]) || one - other);
  }

  function cell(name, head, ...parts) {
    const made = element(name);
    made.setAttribute("role", name === "th" ? "rowheader" : "cell");
    if (name === "th") made.scope = "row";
    made.dataset.head = head;
    made.append(...parts);
    return made;
  }

  function rowOf(row) {
    const [amplifier, serial] = units[row[UNIT]];
    const made = element("tr");
    made.setAttribute("role", "row");
    const under = element("span", "under");
    under.append(serial ? "serial " : "no serial number", element("bdi", "", serial));
    const verdict = [element("span", looks[row[LOOK]], verdicts[row[VERDICT]])];
    if (remarks[row[REMARK]]) verdict.push(element("span", "under", remarks[row[REMARK]]));
    if (marks[row[MARK]]) verdict.push(element("span", "under untold", marks[row[MARK]]));
    const value = element("a", "found-value", row[FOUND]);
    value.href = pageOf(row);
    const foundCell = cell("td", "found", value);
    foundCell.dataset.value = row[WATTS];
    made.append(
      cell("th", "amplifier", link(`${folderOf(row)}index.html`, amplifier), under),
      foundCell,
      cell("td", "verdict", ...verdict),
      cell("td", "sequence", element("bdi", "", sequences[row[SEQUENCE]])),
      cell("td", "date", dateOf(row)),
    );
    return made;
  }

  const count = (number, what) => `${number} ${what}${number === 1 ? "" : "s"}`;

  function show() {
    const first = found.slice(0, shown);
    document.querySelector("#runs tbody").replaceChildren(...first.map((place) => rowOf(rows[place])));
    const of = words.length ? `${found.length} of ${count(rows.length, "run")} found` : count(rows.length, "run");
    find("count").textContent = first.length < found.length ? `${of}; the first ${first.length} are shown.` : `${of}.`;
    find("more").hidden = first.length >= found.length;
    for (const head of document.querySelectorAll("#runs th[data-key]")) {
      if (head.dataset.key === sort) head.setAttribute("aria-sort", isDown ? "descending" : "ascending");
      else head.removeAttribute("aria-sort");
    }
    find("sort").value = `${isDown ? "-" : ""}${sort}`;
  }

  function renew() {
    shown = ON_ONE_PAGE;
    look();
    show();
    const isUsual = sort === "date" && isDown;
    keep({ find: words.join(" "), sort: isUsual ? "" : find("sort").value });
  }

  function sortBy(key, down) {
    sort = key;
    isDown = down;
    renew();
  }

  // A button in each head, and the same as a list to choose from where a narrow screen has no heads.
  for (const head of document.querySelectorAll("#runs th[data-key]")) {
    const { key } = head.dataset, text = head.textContent;
    const button = element("button", "", text);
    button.type = "button";
    button.addEventListener("click", () => sortBy(key, key === sort ? !isDown : DOWN_FIRST.has(key)));
    head.replaceChildren(button);
    const ways = key === "date" ? ["newest first", "oldest first"] : key === "found" ? ["most first", "least first"] : ["Z to A", "A to Z"];
    for (const [place, sign] of ["-", ""].entries()) {
      const option = element("option", "", `${text}, ${ways[place]}`);
      option.value = sign + key;
      find("sort").append(option);
    }
  }
  find("sort").addEventListener("change", ({ target }) =>
    sortBy(target.value.replace("-", ""), target.value.startsWith("-")),
  );
  function search() {
    const wanted = wordsOf(find("search").value);
    if (wanted.join(" ") === words.join(" ")) return;
    words = wanted;
    renew();
  }
  find("search").addEventListener("input", whenQuiet(search));
  find("search").addEventListener("keydown", ({ key }) => key === "Enter" && search()); // it does not wait
  find("more").addEventListener("click", () => {
    const next = shown;
    shown += ON_ONE_PAGE;
    show();
    document.querySelectorAll("#runs tbody tr")[next]?.querySelector("a").focus();
  });

  document.querySelector(".tools").hidden = false;
  const before = kept();
  words = wordsOf(before.get("find") ?? "");
  find("search").value = words.join(" ");
  const key = (before.get("sort") ?? "").replace("-", "");
  if (key in KEYS) [sort, isDown] = [key, before.get("sort").startsWith("-")];
  look();
  show();
})();
