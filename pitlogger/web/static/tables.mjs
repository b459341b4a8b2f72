// @ts-check
/** Tables of a wide screen: sorted by a tap on a head, filtered by what is typed. */

const MANY = 8;
const WIDE = "(min-width: 60rem)";
/** How each table was last sorted: what is put in anew keeps it. @type {Map<string, {at: number, down: boolean}>} */
const sorted = new Map();

/** Give each marked table its heads, those that come later too. */
export function tables() {
  furnish();
  document.addEventListener("pit:swapped", furnish);
}

function furnish() {
  if (!matchMedia(WIDE).matches) return;
  for (const table of document.querySelectorAll("table[data-sorts]:not([data-ready])")) if (table instanceof HTMLTableElement) prepare(table);
}

/** @param {HTMLTableElement} table */
function prepare(table) {
  table.dataset.ready = "";
  for (const [at, head] of [...table.querySelectorAll("thead th")].entries()) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "sorts";
    button.textContent = head.textContent;
    button.addEventListener("click", () => sort(table, at, head.getAttribute("aria-sort") === "ascending"));
    head.replaceChildren(button);
  }
  const was = sorted.get(nameOf(table));
  if (was) sort(table, was.at, was.down);
  if (table.tBodies[0] && table.tBodies[0].rows.length > (table.dataset.sorts === "few" ? 1 : MANY)) table.before(filter(table));
}

/** @param {HTMLTableElement} table */
function filter(table) {
  const label = document.createElement("label");
  label.className = "filter";
  label.textContent = tr("Show only what has ");
  const field = document.createElement("input");
  field.type = "search";
  field.addEventListener("input", () => {
    const wanted = field.value.trim().toLocaleLowerCase();
    for (const row of table.tBodies[0].rows) row.hidden = !row.textContent?.toLocaleLowerCase().includes(wanted);
  });
  label.append(field);
  return label;
}

/** @param {HTMLTableElement} table */
function nameOf(table) {
  return `${table.closest("[id]")?.id ?? ""} ${[...document.querySelectorAll("table")].indexOf(table)}`;
}

/** @param {HTMLTableElement} table @param {number} at @param {boolean} down */
function sort(table, at, down) {
  sorted.set(nameOf(table), { at, down });
  const head = table.querySelectorAll("thead th")[at];
  for (const other of table.querySelectorAll("th[aria-sort]")) other.removeAttribute("aria-sort");
  head.setAttribute("aria-sort", down ? "descending" : "ascending");
  const rows = [...table.tBodies[0].rows].sort((one, other) => compare(key(one.cells[at]), key(other.cells[at])));
  table.tBodies[0].append(...(down ? rows.reverse() : rows));
}

/** What a cell is sorted by: its moment, or its text. @param {HTMLTableCellElement|undefined} cell */
function key(cell) {
  return cell?.querySelector("time")?.getAttribute("datetime") ?? cell?.dataset.key ?? cell?.textContent?.trim() ?? "";
}

/** @param {string} one @param {string} other */
function compare(one, other) {
  const [a, b] = [one, other].map((text) => parseFloat(text.replace("\u2212", "-").replace(/^(-?\d+),/, "$1.")));
  if (!one.includes("T") && !Number.isNaN(a) && !Number.isNaN(b) && a !== b) return a - b;
  return one.localeCompare(other, undefined, { numeric: true });
}
