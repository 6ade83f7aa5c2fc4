// From what is kept to the tables that the reader of the records takes. `kept` maps keys to texts;
// nothing is changed here, so a file can be made again and again.

const keyOf = (...parts) => parts.join("|");
const cycleKey = (unit, cycle, stamp) => keyOf(unit.what, unit.label, cycle, stamp);
const coldKey = (group, end) => keyOf("cold", group.what, group.label, end);
const minutesBetween = (from, to) => (Date.parse(to) - Date.parse(from)) / 60000;
const minutesText = (minutes) => String(Math.round(minutes * 10) / 10);

function clock(stamp, withDay = false) {
  const at = new Date(stamp);
  const two = (number) => String(number).padStart(2, "0");
  const time = `${two(at.getHours())}:${two(at.getMinutes())}:${two(at.getSeconds())}`;
  return withDay ? `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())} ${time}` : time;
}

// Last quench of the coupons of a cold group; the load coming out where no coupon has a time.
function quenchOf(group, unit, kept) {
  const own = group.codes.map((code) => kept.get(keyOf("coupon", code, "quench"))).filter(Boolean);
  return own.sort().at(-1) || kept.get(cycleKey(unit, 0, 2)) || "";
}

function waitOf(group, unit, kept) {
  const [from, to] = [quenchOf(group, unit, kept), kept.get(coldKey(group, "in"))];
  return from && to ? minutesBetween(from, to) : null;
}

function holdOf(unit, cycle, kept) {
  const [from, to] = [kept.get(cycleKey(unit, cycle, 1)), kept.get(cycleKey(unit, cycle, 2))];
  return from && to ? minutesBetween(from, to) : null;
}

const fieldKey = (unit, field) => keyOf(unit.what, unit.label, "actual", field.column);
const waitKey = (group) => keyOf("cold", group.what, group.label, "wait");
const readingKey = (test, code, number) => keyOf("reading", test.response, code, number);

// Actual level of a field as a cell: {cell} or {problem}; the clock where nothing was typed.
function actualOf(unit, field, kept) {
  const typed = kept.get(fieldKey(unit, field)) || "";
  if (field.kind === "words") return { cell: typed };
  const read = numberRead(typed);
  if (read.problem) return read;
  if (read.text === undefined) {
    const hold = field.from_clock ? holdOf(unit, 0, kept) : null;
    return { cell: hold === null || hold < 0 ? "" : minutesText(hold) };
  }
  const isF = field.kind === "temperature" && kept.get(`${fieldKey(unit, field)}|unit`) === "F";
  const value = isF ? (read.value - 32) / 1.8 : read.value;
  if (!isPlausible(value, field)) {
    const high = field.high === null ? " or more" : ` to ${field.high}`;
    const text = isF ? `${typed} °F (${minutesText(value)} °C)` : typed;
    return { problem: `${text}: expected ${field.low}${high}, ${field.unit}.` };
  }
  return { cell: isF ? `${read.text} degF` : read.text };
}

function waitRead(group, unit, kept) {
  const read = numberRead(kept.get(waitKey(group)) || "");
  if (read.problem) return read;
  if (read.value < 0) return { problem: "A wait is not below zero." };
  if (read.text !== undefined) return { cell: `${read.text} min` };
  const wait = waitOf(group, unit, kept);
  if (wait !== null && wait < 0) return { problem: "Into the cold before the quench? Correct the times." };
  return { cell: wait === null ? "" : `${minutesText(wait)} min` };
}

function readingRead(test, code, number, kept) {
  const typed = kept.get(readingKey(test, code, number)) || "";
  const read = numberRead(typed);
  if (read.text !== undefined && !isPlausible(read.value, test)) {
    const likely = [10, 100].map((by) => read.value / by).find((own) => own <= test.high);
    const ask = test.point_low !== null && likely >= test.point_low ? ` Was the decimal point lost (${likely})?` : "";
    return { problem: `${typed.trim()}: expected ${test.expected}.${ask}` };
  }
  return read.problem ? read : { cell: read.text || "" };
}

function readingTable(test, kept) {
  const rows = [];
  const problems = [];
  for (const [order, code] of test.rows) {
    const cells = test.columns.map((_, at) => {
      const read = readingRead(test, code, at + 1, kept);
      if (read.problem) problems.push(`${code}, ${test.reading_word} ${at + 1}: ${read.problem}`);
      return read.cell || "";
    });
    const note = kept.get(keyOf("reading", test.response, code, "note")) || "";
    if (note || cells.some(Boolean)) rows.push([order, code, ...cells, note]);
  }
  return { name: test.stem, columns: ["order", "coupon", ...test.columns, "note"], rows, problems };
}

function logTable(units, kept) {
  const rows = [];
  const problems = [];
  for (const unit of units) {
    const cells = unit.fields.map((field) => {
      const read = actualOf(unit, field, kept);
      if (read.problem) problems.push(`${unit.title}, ${field.title}: ${read.problem}`);
      return read.cell || "";
    });
    if (cells.some(Boolean)) rows.push([unit.label, ...cells]);
  }
  const name = units[0].what === "furnace_load" ? "furnace_log" : "temper_log";
  const columns = [units[0].what, ...units[0].fields.map((field) => field.column)];
  return { name, columns, rows, problems };
}

// Clock times of a load or temper batch in words, for its note.
function clockWords(unit, kept) {
  const words = [];
  unit.cycles.forEach((cycle, number) => {
    const own = ["in", "at temperature", "out"].flatMap((word, stamp) => {
      const at = kept.get(cycleKey(unit, number, stamp));
      return at ? [`${word} ${clock(at, !words.length && !stamp)}`] : [];
    });
    const hold = holdOf(unit, number, kept);
    if (hold !== null) own.push(`${unit.hold_word} ${minutesText(hold)} min`);
    if (own.length) words.push([cycle, own.join(", ")].filter(Boolean).join(" "));
  });
  if (unit.what === "furnace_load") {
    const quenches = unit.coupons.flatMap(({ code }) => {
      const at = kept.get(keyOf("coupon", code, "quench"));
      return at ? [`${code} ${clock(at)}`] : [];
    });
    if (quenches.length) words.push(`quench ${quenches.join(", ")}`);
  }
  return words.join("; ");
}

function coldWords(group, unit, kept) {
  const [from, to] = ["in", "out"].map((end) => kept.get(coldKey(group, end)));
  const words = [from ? `cold in ${clock(from, true)}` : "", to ? `cold out ${clock(to, true)}` : ""];
  return words.filter(Boolean).join(", ");
}

// Free words stand in the column note only: elsewhere a number at their beginning would have a say
// in what the decimal mark of the table is.
function deviationTable(plan, kept) {
  const rows = [];
  const problems = [];
  for (const unit of [...plan.loads, ...plan.tempers]) {
    for (const group of unit.colds) {
      const note = coldWords(group, unit, kept);
      const read = waitRead(group, unit, kept);
      if (read.problem) problems.push(`${unit.title}, ${group.label}: ${read.problem}`);
      if (plan.delay_item && group.wait !== null && read.cell) {
        rows.push([group.what, group.label, plan.delay_item, read.cell, note]);
      } else if (note) rows.push([group.what, group.label, "note", "", note]);
    }
    const words = [clockWords(unit, kept), kept.get(keyOf(unit.what, unit.label, "note"))];
    if (words.some(Boolean)) rows.push([unit.what, unit.label, "note", "", words.filter(Boolean).join("; ")]);
  }
  for (const code of plan.codes) {
    const [lost, note] = ["lost", "note"].map((name) => kept.get(keyOf("coupon", code, name)));
    if (lost) rows.push(["coupon", code, "lost", lost, note || ""]);
    else if (note) rows.push(["coupon", code, "note", "", note]);
  }
  return { name: "deviations", columns: ["what", "which", "item", "actual", "note"], rows, problems };
}

// Every table of the plan that has a row or a problem.
function tablesOf(plan, kept) {
  const logs = [plan.loads, plan.tempers].filter((units) => units.length && units[0].fields.length);
  return [
    ...plan.tests.map((test) => readingTable(test, kept)),
    ...logs.map((units) => logTable(units, kept)),
    deviationTable(plan, kept),
  ].filter((table) => table.rows.length || table.problems.length);
}

// A saved copy of everything: {values} as pairs, or {problem}.
function backupRead(text, plan) {
  let copy = null;
  try {
    copy = JSON.parse(text);
  } catch {
    return { problem: "This is not a saved copy of a bench page: it cannot be read as JSON." };
  }
  if (!copy || !String(copy.format).startsWith("quenchbook phone page") || typeof copy.values !== "object") {
    return { problem: "This is not a saved copy of a bench page." };
  }
  if (copy.plan !== plan.plan) {
    return { problem: `The copy belongs to plan ${String(copy.plan).slice(0, 8)}, this page to ${plan.plan.slice(0, 8)}.` };
  }
  const isTime = /^(furnace_load|temper_batch)\|[^|]*\|\d\|\d$|\|quench$|^cold\|.*\|(in|out)$/;
  const values = Object.entries(copy.values || {}).filter(([key, value]) =>
    typeof value === "string" && value && (!isTime.test(key) || !Number.isNaN(Date.parse(value))));
  return { values };
}
