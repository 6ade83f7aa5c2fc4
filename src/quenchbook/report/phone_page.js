// The page: one screen at a time, drawn from what is kept. Every value is its own item of the
// browser's storage, so two open tabs never overwrite each other. Timers rest on stamped times.

const plan = JSON.parse(document.getElementById("plan").textContent);
const prefix = `quenchbook ${plan.plan} `;
const pagePrefix = `quenchbook-page ${plan.plan} `;
const SHAPES = { circle: "\u25cb", square: "\u25a1", triangle: "\u25b2", diamond: "\u25c6" };
const LOST = ["cracked", "lost", "spoiled"];
const kept = new Map();
let storageWorks = true;
let screen = { name: "load", at: 0, test: 0 };

// --- what is kept ---------------------------------------------------------------------------------

function readStorage() {
  kept.clear();
  try {
    localStorage.setItem(`${pagePrefix}try`, "1");
    localStorage.removeItem(`${pagePrefix}try`);
    for (let at = 0; at < localStorage.length; at++) {
      const key = localStorage.key(at);
      if (key.startsWith(prefix)) kept.set(key.slice(prefix.length), localStorage.getItem(key));
    }
  } catch {
    noStorage();
  }
}

function noStorage() {
  storageWorks = false;
  warn("This browser keeps nothing: values are lost when the page is closed. Save to files before you close it, or open the page in another browser.");
}

function warn(words) {
  const place = document.getElementById("warning");
  place.textContent = words;
  place.hidden = !words;
}

function store(key, value) {
  try {
    if (value) localStorage.setItem(key, value);
    else localStorage.removeItem(key);
  } catch {
    noStorage();
  }
}

function keep(key, value) {
  if ((kept.get(key) || "") === value) return;
  if (value) kept.set(key, value);
  else kept.delete(key);
  store(prefix + key, value);
  pageSet("changed", new Date().toISOString());
}

const pageNotes = new Map();
function pageGet(name) {
  try {
    return localStorage.getItem(pagePrefix + name) || pageNotes.get(name) || "";
  } catch {
    return pageNotes.get(name) || "";
  }
}
function pageSet(name, value) {
  pageNotes.set(name, value); // also for a browser that keeps nothing
  store(pagePrefix + name, value);
}

// --- parts of a screen ----------------------------------------------------------------------------

function h(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== undefined) element.setAttribute(name, value);
  }
  element.append(...children.flat(3).filter((own) => own !== null && own !== false && own !== ""));
  return element;
}

const button = (words, onclick, more = {}) => h("button", { type: "button", onclick, ...more }, words);

function say(words) {
  document.getElementById("said").textContent = words;
}

let ids = 0;
const newId = () => `part-${(ids += 1)}`;

function field(key, label, { check, number = true, hint = "", name = label } = {}) {
  const [id, badId] = [newId(), newId()];
  const bad = h("p", { id: badId, class: "bad" });
  const show = () => {
    const problem = (check && check()) || "";
    bad.textContent = problem;
    input.setAttribute("aria-invalid", String(Boolean(problem)));
  };
  const input = h("input", {
    id, "data-key": key, "aria-describedby": badId, autocomplete: "off", enterkeyhint: "next",
    inputmode: number ? "decimal" : "text", class: number ? "number" : "", "aria-label": name,
    oninput: () => {
      keep(key, input.value);
      if (bad.textContent) show();
    },
    onchange: show,
    onkeydown: (event) => {
      if (event.key !== "Enter") return;
      event.preventDefault(); // else the same key presses the button that gets the focus
      focusAfter(input);
    },
  });
  input.value = kept.get(key) || "";
  show();
  return h("div", { class: "field" },
    h("label", { for: id }, label, hint && h("small", {}, hint)), input, bad);
}

function focusAfter(input) {
  const all = [...document.querySelectorAll("main input, main button.next")];
  (all[all.indexOf(input) + 1] || input).focus();
}

function choice(key, label, options, name = label) {
  const id = newId();
  const select = h("select", {
    id, "data-key": key, "aria-label": name, onchange: () => keep(key, select.value),
  }, options.map(([value, words]) => h("option", { value }, words)));
  select.value = kept.get(key) || "";
  return h("div", { class: "field" }, h("label", { for: id }, label), select);
}

// A button that acts on its last words only. A second press within half a second is a bounce.
function askingButton(words, action, more = {}) {
  let [step, last, timer] = [0, 0, 0];
  const own = button(words[0], () => {
    if (Date.now() - last < 500) return;
    last = Date.now();
    clearTimeout(timer);
    step += 1;
    if (step === words.length) {
      action();
      return;
    }
    own.textContent = words[step];
    own.removeAttribute("aria-label");
    say(words[step]);
    timer = setTimeout(() => {
      step = 0;
      own.textContent = words[0];
    }, 8000);
  }, more);
  return own;
}

// A button that stamps the time; once stamped, the time can be corrected but not stamped over.
function stamp(key, label, about) {
  const at = kept.get(key);
  const name = `${label}, ${about}`;
  if (!at) {
    return button(label, () => {
      keep(key, new Date().toISOString());
      say(`${name}: ${clock(kept.get(key))}`);
      draw(key);
    }, { class: "stamp", "data-key": key, "aria-label": `${name}: tap to stamp the time` });
  }
  const [id, panelId] = [newId(), newId()];
  const input = h("input", {
    id, type: "datetime-local", step: "1", "aria-label": `${name}: day and time`,
    onchange: () => {
      const time = new Date(input.value);
      if (Number.isNaN(time.getTime())) return;
      keep(key, time.toISOString());
      draw(key);
    },
  });
  input.value = clock(at, true).replace(" ", "T");
  const remove = askingButton(["Remove this time", "Remove it? Press once more"], () => {
    keep(key, "");
    draw(key);
  });
  const panel = h("div", { id: panelId, class: "correct", hidden: true }, input, remove);
  const change = button("change", () => {
    panel.hidden = !panel.hidden;
    change.setAttribute("aria-expanded", String(!panel.hidden));
  }, { class: "change", "data-key": key, "aria-expanded": "false", "aria-controls": panelId, "aria-label": `change the time of ${name}` });
  const day = at.slice(0, 10) === new Date().toISOString().slice(0, 10) ? "" : clock(at, true).slice(0, 10);
  return [
    h("div", { class: "stamped" }, h("p", {}, label, day && h("small", {}, ` ${day}`), h("b", {}, clock(at))), change),
    panel,
  ];
}

// --- timers ---------------------------------------------------------------------------------------

function span(seconds) {
  const two = (number) => String(number).padStart(2, "0");
  const whole = Math.floor(Math.abs(seconds));
  const [hours, minutes] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60];
  return `${hours ? `${hours}:${two(minutes)}` : minutes}:${two(whole % 60)}`;
}

function plannedText(minutes) {
  if (minutes >= 1440 && minutes % 1440 === 0) return `${minutes / 1440}\u00a0day${minutes > 1440 ? "s" : ""}`;
  return minutes >= 120 && minutes % 60 === 0 ? `${minutes / 60}\u00a0h` : `${minutes}\u00a0min`;
}

// Words of a timer and whether it runs over; planned is null where nothing is planned.
function timerText(from, planned, to) {
  const plannedWords = planned === null ? "" : plannedText(planned);
  if (!from) return [plannedWords && `${plannedWords} planned`, false];
  const seconds = minutesBetween(from, to || new Date().toISOString()) * 60;
  if (to) return [span(seconds) + (plannedWords && `, planned ${plannedWords}`), false];
  if (planned === null) return [`${span(seconds)} so far`, false];
  const left = planned * 60 - seconds;
  return left > 0
    ? [`${span(Math.ceil(left))} left of ${plannedWords}`, false]
    : [`${span(left)} over ${plannedWords}`, true];
}

function timer(word, from, planned, to) {
  if (!from && planned === null) return null;
  const value = h("b", {});
  const element = h("p", { class: "timer", role: "timer" }, `${word}: `, value);
  element.refresh = () => {
    const [words, isOver] = timerText(from, planned, to);
    value.textContent = words;
    element.classList.toggle("over", isOver);
  };
  element.refresh();
  return element;
}

function runningTimers() {
  const found = [];
  for (const [name, units] of [["load", plan.loads], ["temper", plan.tempers]]) {
    units.forEach((unit, at) => {
      unit.cycles.forEach((cycle, number) => {
        const [from, to] = [1, 2].map((end) => kept.get(cycleKey(unit, number, end)));
        if (from && !to) found.push({ words: `${unit.title} ${cycle}`.trim(), word: unit.hold_word, from, planned: unit.hold, name, at });
      });
      for (const group of unit.colds) {
        const [start, end] = ["in", "out"].map((own) => kept.get(coldKey(group, own)));
        const words = group.what === "coupon" ? group.label : `Cold ${group.label}`;
        const quench = quenchOf(group, unit, kept);
        if (quench && !start) found.push({ words, word: "wait", from: quench, planned: group.wait, name, at });
        else if (start && !end) found.push({ words, word: "in the cold", from: start, planned: group.cold, name, at });
      }
    });
  }
  return found;
}

const announced = new Set();
function tick(first = false) {
  const running = runningTimers();
  const over = running.filter((own) => timerText(own.from, own.planned)[1]);
  for (const own of over) {
    const key = keyOf(own.words, own.word, own.from);
    if (announced.has(key)) continue;
    announced.add(key);
    // the tester is told of no load and no route
    if (!first) ring(screen.name === "test" || isBlind() ? "A timer is over." : `${own.words}, ${own.word}: time is up.`);
  }
  document.querySelectorAll(".timer").forEach((own) => own.refresh && own.refresh());
  if (screen.name !== "test") return;
  const [blind, done] = ["blind-timers", "done"].map((id) => document.getElementById(id));
  const test = plan.tests[screen.test] || plan.tests[0];
  const count = test.rows.filter(([, code]) => hasReading(test, code)).length;
  if (done) done.textContent = `${count} of ${test.rows.length} ${plan.coupons_word} have readings.`;
  if (blind) blind.textContent = running.length ? `Timers: ${running.length} running, ${over.length} of them over.` : "";
}

let sound = null;
function ring(words) {
  say(words);
  if (navigator.vibrate) navigator.vibrate([400, 150, 400]);
  if (!sound) return;
  const tone = sound.createOscillator();
  tone.connect(sound.destination);
  tone.start();
  tone.stop(sound.currentTime + 0.6);
}

// --- check of a code ------------------------------------------------------------------------------

function codeCheck(found) {
  const [id, answerId] = [newId(), newId()];
  const answer = h("div", { id: answerId, class: "answer", role: "status" });
  const show = () => {
    answer.replaceChildren();
    if ([...plainCode(input.value)].length < Math.min(...plan.codes.map((own) => own.length))) return;
    const read = codeRead(input.value, plan.codes, plan.characters);
    if (read.code) {
      answer.append(...found(read.code));
      return;
    }
    const text = plainCode(input.value);
    const why = read.other ? "It is a code of another plan, or two characters are wrong." : "";
    answer.append(h("p", { class: "bad" }, `${text} is not in this plan. ${read.near.length ? "" : why || `Look at the ${plan.coupon_word} again.`}`));
    for (const code of read.near) {
      answer.append(h("p", {}, `Is it ${code}? (${read.how})`), button(`Yes, it is ${code}`, () => {
        input.value = code;
        show();
      }));
    }
  };
  const input = h("input", {
    id, class: "code", autocomplete: "off", autocapitalize: "characters", spellcheck: "false",
    "aria-describedby": answerId, oninput: show,
  });
  return h("div", { class: "field check" },
    h("label", { for: id }, "Check a code as read"), input, answer);
}

// --- screens --------------------------------------------------------------------------------------

function pager(names, at, go, what) {
  const list = h("select", { "aria-label": `Choose ${what}`, onchange: () => go(Number(list.value)) },
    names.map((name, own) => h("option", { value: own }, name)));
  list.value = at;
  const step = (by, sign, word) => button(sign, () => go(at + by), {
    "aria-label": `${word} ${what}`, disabled: !(at + by in names),
  });
  return h("div", { class: "pager" }, step(-1, "\u2039", "Previous"), list, step(1, "\u203a", "Next"));
}

function unitScreen(units, name) {
  const unit = units[screen.at] || units[0];
  const isLoad = name === "load";
  const go = (at) => show({ ...screen, name, at });
  const kind = unit.title.replace(/ \S+$/, "").toLowerCase();
  const heatings = unit.cycles.map((cycle, number) => {
    const about = cycle ? `${unit.title}, ${cycle}` : unit.title;
    const [from, to] = [1, 2].map((end) => kept.get(cycleKey(unit, number, end)));
    return h("section", { class: "heating" }, cycle && h("h3", {}, cycle),
      unit.stamps.slice(0, 2).map((label, end) => stamp(cycleKey(unit, number, end), label, about)),
      timer(unit.hold_word, from, unit.hold, to),
      unit.stamps.slice(2).map((label, end) => stamp(cycleKey(unit, number, end + 2), label, about)));
  });
  return [
    pager(units.map((own) => own.title), units.indexOf(unit), go, kind),
    h("h2", { tabindex: "-1" }, unit.title),
    h("p", {}, unit.line),
    unit.settings.map((setting) => h("p", { class: "setting" }, setting)),
    unit.held && h("p", { class: "second" }, unit.held),
    heatings,
    unit.fields.map((own) => actualField(unit, own)),
    field(keyOf(unit.what, unit.label, "note"), "Anything different?", { number: false, name: `Note on ${unit.title}` }),
    h("h3", {}, isLoad ? `${capital(plan.coupons_word)} in quench order` : capital(plan.coupons_word)),
    codeCheck((code) => [h("p", { class: "good" }, placeOf(code, units, unit, kind))]),
    h("ol", { class: "coupons" }, unit.coupons.map((coupon) => couponRow(coupon, isLoad))),
    unit.hint && h("p", { class: "second" }, unit.hint),
    unit.colds.length > 0 && h("h3", {}, "Into the cold"),
    unit.colds.map((group) => coldPart(group, unit)),
    unit.reminder && h("p", { class: "reminder" }, unit.reminder),
  ];
}

const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

function placeOf(code, units, unit, kind) {
  const own = units.find((other) => other.coupons.some((coupon) => coupon.code === code));
  if (!own) return `${code} is in this plan, but in no ${kind}.`;
  const place = own.coupons.findIndex((coupon) => coupon.code === code) + 1;
  return own === unit ? `${code}: right, number ${place} here.` : `${code} belongs to ${own.title.toLowerCase()}, not here.`;
}

function actualField(unit, own) {
  const key = fieldKey(unit, own);
  const title = `${capital(own.title)} that was really run`;
  if (own.kind === "words") return choice(key, title, [["", "not told"], ...own.choices]);
  const hint = `, ${own.unit}; planned ${own.planned}${own.from_clock ? "; empty: as stamped" : ""}`;
  const part = field(key, title, { hint, check: () => actualOf(unit, own, kept).problem, name: `${title}, ${unit.title}` });
  if (own.kind !== "temperature") return part;
  const unitKey = `${key}|unit`;
  const toggle = button("", () => {
    keep(unitKey, kept.get(unitKey) === "F" ? "" : "F");
    draw(unitKey);
  }, { class: "unit", "data-key": unitKey });
  const isF = kept.get(unitKey) === "F";
  toggle.textContent = isF ? "\u00b0F" : "\u00b0C";
  toggle.setAttribute("aria-label", `Read in ${toggle.textContent}: change to ${isF ? "\u00b0C" : "\u00b0F"}`);
  part.classList.add("with-unit");
  part.insertBefore(toggle, part.lastChild);
  return part;
}

function shapeMark(shape) {
  return shape ? h("span", { class: "shape", "aria-hidden": "true" }, SHAPES[shape]) : null;
}

function couponRow({ code, place, words, shape }, isLoad) {
  const lostKey = keyOf("coupon", code, "lost");
  const lost = kept.get(lostKey);
  const mark = h("span", { class: "lost" }, lost ? lost : "");
  const part = h("details", {},
    h("summary", {}, "lost, cracked, note ", mark),
    choice(lostKey, "Lost?", [["", "no"], ...LOST.map((own) => [own, own])], `Is ${code} lost?`),
    field(keyOf("coupon", code, "note"), "Note", { number: false, name: `Note on ${code}` }));
  part.addEventListener("change", () => {
    mark.textContent = kept.get(lostKey) || "";
  });
  return h("li", {},
    h("p", { class: "coupon" }, place && h("span", { class: "place" }, place), h("b", { class: "code" }, code)),
    h("p", { class: "words" }, shapeMark(shape), words.join(" \u00b7 ")),
    isLoad && stamp(keyOf("coupon", code, "quench"), "quenched", code), part);
}

function coldPart(group, unit) {
  const title = group.what === "coupon" ? group.label : `Cold batch ${group.label}`;
  const [start, end] = ["in", "out"].map((own) => kept.get(coldKey(group, own)));
  return h("section", { class: "cold", "aria-label": title },
    h("h4", {}, title),
    h("p", { class: "words" }, shapeMark(group.shape), group.words.join(" \u00b7 ")),
    group.what !== "coupon" && h("p", { class: "codes" }, group.codes.join(" ")),
    timer("wait", quenchOf(group, unit, kept), group.wait, start),
    stamp(coldKey(group, "in"), "into the cold", title),
    timer("in the cold", start, group.cold, end),
    stamp(coldKey(group, "out"), "out of the cold", title),
    group.wait !== null && field(waitKey(group), "Wait that was really run", {
      hint: ", min; empty: as stamped", check: () => waitRead(group, unit, kept).problem, name: `Wait that was really run, ${title}, minutes`,
    }));
}

// While a tester has the phone: no furnace screen, no timer, no text of what was run.
const isBlind = () => Boolean(pageGet("blind"));
const hasReading = (test, code) => test.columns.some((_, at) => kept.get(readingKey(test, code, at + 1)));

// The tester sees codes in test order and nothing of the treatment.
function testScreen() {
  const test = plan.tests[screen.test] || plan.tests[0];
  const at = test.rows[screen.at] ? screen.at : 0;
  const go = (place) => show({ ...screen, at: place });
  if (!test.rows.length) return [h("h2", { tabindex: "-1" }, test.title), h("p", {}, "Nothing is tested.")];
  const [order, code] = test.rows[at];
  const open = test.rows.findIndex(([, own], place) => place > at && !hasReading(test, own) && !kept.get(keyOf("coupon", own, "lost")));
  const names = test.rows.map(([number, own]) => `${number}  ${own}${kept.get(keyOf("coupon", own, "lost")) ? "  lost" : hasReading(test, own) ? "  \u2713" : ""}`);
  return [
    plan.tests.length > 1 && h("div", { class: "choices", role: "group", "aria-label": "What is tested" },
      plan.tests.map((own, number) => button(own.quantity, () => show({ name: "test", test: number, at: firstOpen(own) }),
        { "aria-pressed": String(own === test) }))),
    h("h2", { tabindex: "-1" }, test.title),
    h("p", {}, plan.blinded ? "Test in this order. The codes say nothing of the treatment; keep it so." : "Order as published: the tester is not blinded."),
    h("p", { id: "blind-timers" }),
    pager(names, at, go, plan.coupon_word),
    h("p", { class: "turn" }, `${order} of ${test.rows.at(-1)[0]}: `, h("b", { class: "code" }, code)),
    codeCheck((own) => {
      if (own === code) return [h("p", { class: "good" }, `${own}: right, this one is its turn.`)];
      const place = test.rows.findIndex(([, other]) => other === own);
      if (place < 0) return [h("p", { class: "bad" }, `${own} is not tested for ${test.quantity}.`)];
      return [h("p", { class: "bad" }, `${own} is number ${test.rows[place][0]} of the order, not this one.`),
        button(`Go to ${own}`, () => go(place))];
    }),
    test.columns.map((_, number) => {
      const label = test.columns.length > 1 ? `${capital(test.reading_word)} ${number + 1}` : capital(test.quantity);
      return field(readingKey(test, code, number + 1), label, {
        check: () => readingRead(test, code, number + 1, kept).problem, name: `${label} of ${code}`,
      });
    }),
    button(open < 0 ? "None left after this one" : `Next: ${test.rows[open][0]}  ${test.rows[open][1]}`, () => go(open),
      { class: "next", disabled: open < 0 }),
    choice(keyOf("coupon", code, "lost"), "Lost?", [["", "no"], ...LOST.map((own) => [own, own])], `Is ${code} lost?`),
    field(keyOf("reading", test.response, code, "note"), "Note", { number: false, name: `Note on ${code}` }),
    h("p", { class: "second", id: "done" }),
    !isBlind() && button("Hide the furnace screens from the tester", () => {
      pageSet("blind", "1");
      show(screen);
    }),
  ];
}

function firstOpen(test) {
  return Math.max(0, test.rows.findIndex(([, code]) => !hasReading(test, code)));
}

// --- files ----------------------------------------------------------------------------------------

function download(name, text, type) {
  const address = URL.createObjectURL(new Blob([text], { type }));
  const link = h("a", { href: address, download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 60000);
  pageSet(`saved ${name}`, new Date().toISOString());
}

const fileName = (name, ending) => `${name}_phone_${plan.plan.slice(0, 8)}.${ending}`;

function backupText() {
  const values = Object.fromEntries([...kept].sort(([a], [b]) => (a < b ? -1 : 1)));
  return JSON.stringify({ format: "quenchbook phone page 1", plan: plan.plan, study: plan.study, values }, null, 1);
}

function savedWords(name) {
  const [saved, changed] = [pageGet(`saved ${name}`), pageGet("changed")];
  if (!saved) return "Not saved yet.";
  return `Saved ${clock(saved, true)}${changed > saved ? "; something was changed since." : "."}`;
}

function filePart(name, words, text, type, { problems = [], isOpen = true } = {}) {
  const state = h("p", { class: "second" }, savedWords(name));
  return h("section", { class: "file" }, h("h3", {}, name), h("p", {}, words),
    problems.length > 0 && h("div", { class: "bad" }, h("p", {}, "Correct or empty first:"),
      h("ul", {}, problems.map((own) => h("li", {}, own)))),
    button("Save", () => {
      download(name, text, type);
      state.textContent = savedWords(name);
      say(`${name} saved. The values stay on this phone.`);
    }, { disabled: problems.length > 0, "aria-label": `Save ${name}` }),
    state,
    isOpen && !problems.length && h("details", {}, h("summary", {}, "show as text"),
      h("textarea", { readonly: true, rows: "8", "aria-label": `Text of ${name}` }, text)));
}

function saveScreen() {
  const tables = tablesOf(plan, kept);
  const count = kept.size;
  return [
    h("h2", { tabindex: "-1" }, "Save to files"),
    h("p", {}, "Put the CSV files into the folder records of the study. A later file holds everything again: replace the earlier one. Saving deletes nothing here."),
    !tables.length && h("p", {}, "Nothing was entered yet."),
    tables.map(({ name, columns, rows, problems }) => filePart(fileName(name, "csv"),
      `${rows.length} row${rows.length === 1 ? "" : "s"}`, csvText(plan.plan, columns, rows), "text/csv",
      { problems, isOpen: !isBlind() || columns.includes("coupon") })),
    h("h2", {}, "Copy of everything"),
    h("p", {}, "These values are on this phone only, in this browser. Who clears its data deletes them, and a browser may not find them when the file of this page was moved or renamed. Save a copy at the end of each session; another phone, or this one, can take it up again."),
    filePart(fileName("backup", "json"), `${count} value${count === 1 ? "" : "s"}`, backupText(), "application/json", { isOpen: !isBlind() }),
    importPart(),
    isBlind() && h("h2", {}, "Furnace screens"),
    isBlind() && askingButton(["Show the furnace screens", "Are all tests done? Then press once more"], () => {
      pageSet("blind", "");
      show(screen);
    }),
    h("h2", {}, "Clear"),
    askingButton(["Clear this phone", `Delete all ${count} values of this plan?`, "Sure? Press once more to delete"], () => {
      for (const key of [...kept.keys()]) keep(key, "");
      say("All values of this plan are deleted.");
      draw();
    }, { class: "clear", disabled: count === 0 }),
  ];
}

function importPart() {
  const id = newId();
  const answer = h("div", { role: "status" });
  const input = h("input", { id, type: "file", accept: ".json,application/json", onchange: async () => {
    answer.replaceChildren();
    if (!input.files.length) return;
    const { values, problem } = backupRead(await input.files[0].text(), plan);
    if (problem) {
      answer.append(h("p", { class: "bad" }, problem));
      return;
    }
    const missing = values.filter(([key]) => !kept.has(key));
    const different = values.filter(([key, value]) => kept.has(key) && kept.get(key) !== value);
    const take = (chosen) => {
      for (const [key, value] of chosen) keep(key, value);
      say(`${chosen.length} values taken.`);
      draw();
    };
    answer.append(h("p", {}, `The file has ${values.length} values: ${missing.length} are not here, ${different.length} are different here.`),
      button(`Take the ${missing.length} that are not here`, () => take(missing), { disabled: !missing.length }));
    if (different.length) {
      answer.append(askingButton([`Also replace the ${different.length} different ones`, "Replace what is on this phone?"], () => take([...missing, ...different])));
    }
  } });
  return h("div", { class: "field" }, h("label", { for: id }, "Take up a saved copy (backup, json)"), input, answer);
}

// --- drawing --------------------------------------------------------------------------------------

function screensList() {
  const first = (units) => Math.max(0, units.findIndex((unit) => !kept.get(cycleKey(unit, unit.cycles.length - 1, 2))));
  return [
    ["load", "Furnace", () => ({ name: "load", at: first(plan.loads) }), plan.loads.length],
    ["temper", "Temper", () => ({ name: "temper", at: first(plan.tempers) }), plan.tempers.length],
    ["test", "Test", () => ({ name: "test", test: 0, at: firstOpen(plan.tests[0]) }), plan.tests.length],
    ["save", "Save", () => ({ name: "save" }), 1],
  ].filter(([name, , , count]) => count && !(isBlind() && ["load", "temper"].includes(name)));
}

function show(next) {
  screen = { at: 0, test: 0, ...next };
  pageSet("screen", JSON.stringify(screen));
  say(""); // what was said of a load is nothing for the tester
  draw();
  scrollTo(0, 0);
  const head = document.querySelector("main h2");
  if (head) head.focus({ preventScroll: true });
}

function draw(focusKey) {
  ids = 0;
  document.getElementById("screens").replaceChildren(...screensList().map(([name, words, place]) =>
    button(words, () => show(place()), name === screen.name ? { "aria-current": "page" } : {})));
  const drawers = { load: () => unitScreen(plan.loads, "load"), temper: () => unitScreen(plan.tempers, "temper"), test: testScreen, save: saveScreen };
  const open = new Set([...document.querySelectorAll("details[open] [data-key]")].map((own) => own.dataset.key));
  const running = screen.name === "test" || isBlind() ? [] : runningTimers().filter((own) => own.name !== screen.name || own.at !== screen.at);
  const bar = running.length > 0 && h("div", { class: "running", role: "group", "aria-label": "Timers elsewhere" }, running.map((own) =>
    button(timer(`${own.words}, ${own.word}`, own.from, own.planned), () => show({ name: own.name, at: own.at }))));
  const parts = drawers[screen.name]().flat(3).filter(Boolean);
  document.getElementById("main").replaceChildren(...[bar, ...parts].filter(Boolean));
  for (const part of document.querySelectorAll("main details")) {
    part.open = [...part.querySelectorAll("[data-key]")].some((own) => open.has(own.dataset.key));
  }
  tick(true);
  if (!focusKey) return;
  const again = [...document.querySelectorAll("main [data-key]")].find((own) => own.dataset.key === focusKey);
  if (again) again.focus({ preventScroll: true });
}

readStorage();
try {
  const last = JSON.parse(pageGet("screen"));
  if (screensList().some(([name]) => name === last.name)) screen = { ...screen, ...last };
} catch {
  // no screen was kept: the first one
}
draw();
setInterval(tick, 1000);
addEventListener("storage", (event) => {
  if (event.key !== null && !event.key.startsWith(prefix)) return;
  readStorage();
  if (!document.hasFocus()) draw();
});
addEventListener("beforeunload", (event) => {
  if (!storageWorks && kept.size) event.preventDefault();
});
addEventListener("click", () => {
  if (!sound && globalThis.AudioContext) sound = new AudioContext();
}, { once: true });
