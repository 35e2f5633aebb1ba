"use strict";
// A visit is the list of keys pressed: saved after each, replayed when the page comes back.
const visit = JSON.parse(document.body.dataset.visit);
const { columns, rows, notes, units, limits } = visit;
const show = (id) => document.getElementById(id);
const [ROLL, LEAVE, LENGTH] = ["roll_", "leave_", "distance_"].map((name) => name + units);
const LABELS = { line_deg: "Line, °", [ROLL]: "Roll-out, " + units,
  putts_taken: "Putts taken", [LEAVE]: "First putt left, " + units };
const ASIDE = 20, TIMES_THE_LENGTH = 3; // beyond these a reading is asked about, once

const cell = (row, name) => row[columns.indexOf(name)] ?? "";
const short = (i) => Number(cell(rows[i], LENGTH).toFixed(2));
const fields = (row) => cell(row, "drill") === "counted" ? ["putts_taken", LEAVE] : ["line_deg", ROLL];
const groups = [...new Set(rows.map((row) => `${cell(row, "player")}\n${cell(row, "session")}`))];
const inGroup = groups.map((group) => [...rows.keys()].filter((i) =>
  `${cell(rows[i], "player")}\n${cell(rows[i], "session")}` === group));
const fresh = () => ({ group: 0, place: groups.map(() => 0), field: 0, read: {}, says: "", asked: false });
const digits = (text) => text.replace(/[LR]/, "");
const side = (text) => (text.match(/[LR]/) || [""])[0];
const number = (name, text) => (digits(text) === "" ? null : Number(digits(text)) * (side(text) === "L" ? -1 : 1));
const words = (name, text) => digits(text) + ({ L: " left", R: " right" }[side(text)] || "");

function row(s) { return inGroup[s.group][s.place[s.group]]; }
function readings(s, i) { return (s.read[i] ??= {}); }

function trouble(s, i, name) {
  const text = s.read[i]?.[name] ?? "", value = number(name, text);
  if (value === null) return side(text) ? "How many degrees?" : "";
  if (name === "line_deg" && value && !side(text)) return "Left or right?";
  const [least, most] = limits[name];
  return value < least || value > most ? `${value} is not from ${least} to ${most}.` : "";
}

// Whether a reading of this putt can't stand: nobody leaves the putt until it is mended.
function unsettled(s) {
  const i = row(s), at = i === undefined ? -1 : fields(rows[i]).findIndex((name) => trouble(s, i, name));
  if (at < 0) return false;
  s.says = trouble(s, i, fields(rows[i])[at]); s.field = at;
  return true;
}

function doubt(s, i, name) {
  const mine = s.read[i] ?? {}, value = number(name, mine[name] ?? ""), long = cell(rows[i], LENGTH);
  const first = fields(rows[i])[0];
  if (name === "line_deg" && Math.abs(value) > ASIDE) return `${Math.abs(value)}° off line? Next again to keep it.`;
  if ((name === ROLL || name === LEAVE) && value > TIMES_THE_LENGTH * long)
    return `${value} ${units} on a putt of ${short(i)} ${units}? Next again to keep it.`;
  if (value !== null || name === first) return "";
  if (!mine[first]) return "Nothing written down. Next again to pass this putt over.";
  const last = s.read[inGroup[s.group][s.place[s.group] - 1]];
  if (name === ROLL && !(last?.[first] && !last[ROLL])) return "No roll-out? Next again to leave it blank.";
  return "";
}

function onward(s, again) {
  const i = row(s), name = fields(rows[i])[s.field];
  const holed = name === "putts_taken" && number(name, s.read[i]?.[name] ?? "") === 1;
  if (holed) delete s.read[i][LEAVE];
  if (s.field === 0 && !holed ? trouble(s, i, name) && unsettled(s) : unsettled(s)) return;
  s.says = again ? "" : doubt(s, i, name);
  s.asked = s.says !== "";
  if (s.asked) return;
  if (s.field === 0 && !holed) s.field = 1;
  else { s.place[s.group] += 1; s.field = 0; }
}

function step(s, key) {
  const again = s.asked, i = row(s), name = i === undefined ? "" : fields(rows[i])[s.field];
  s.says = ""; s.asked = false;
  if ((key === "before" || key.startsWith("group ")) && unsettled(s)) return s;
  if (key.startsWith("group ")) { s.group = Number(key.slice(6)); s.field = 0; return s; }
  if (key === "before") { s.place[s.group] = Math.max(s.place[s.group] - 1, 0); s.field = 0; return s; }
  if (!name) return s;
  const text = readings(s, i)[name] ?? "";
  const write = (value) => { if (value) s.read[i][name] = value; else delete s.read[i][name]; };
  if (key.startsWith("field ")) s.field = Number(key.slice(6));
  else if (/^\d$/.test(key) && text.length < 6) write(text + key);
  else if (key === "." && name !== "putts_taken" && !text.includes(".")) write(text + (digits(text) ? "." : "0."));
  else if (key === "rub") write(text.slice(0, -1));
  else if ((key === "L" || key === "R") && name === "line_deg") {
    write(key + digits(text));
    if (digits(text)) onward(s, again);
  } else if (key === "next") onward(s, again);
  return s;
}

// What is kept: the keys, the day of the first one and the time of the last.
const KEEP = "putts " + visit.id;
const today = () => new Date(Date.now() - 6e4 * new Date().getTimezoneOffset()).toISOString().slice(0, 10);
let kept = { keys: [], day: "", at: 0 }, state = fresh(), refused = false;
function store() {
  kept.at = Date.now();
  // A busy browser may show a reloaded page its storage as it was before; its history it does not.
  try { history.replaceState(kept, ""); } catch { /* the storage is left */ }
  try { localStorage.setItem(KEEP, JSON.stringify(kept)); refused = false; } catch { refused = true; }
}
function recall() {
  try {
    const stored = JSON.parse(localStorage.getItem(KEEP));
    localStorage.setItem(KEEP + " tried", "");
    localStorage.removeItem(KEEP + " tried");
    for (const other of [stored, history.state]) if (other?.at > kept.at) kept = other;
    state = kept.keys.reduce(step, fresh());
  } catch { refused = true; }
}
function press(key) {
  if (key === "undo") kept.keys.pop(); else kept.keys.push(key);
  kept.day = kept.keys.length ? kept.day || today() : "";
  state = key === "undo" ? kept.keys.reduce(step, fresh()) : step(state, key);
  store(); draw();
}

function written() { return [...rows.keys()].filter((i) => fields(rows[i]).some((name) => digits(state.read[i]?.[name] ?? ""))); }

function csv() {
  const quote = (value) => /[",\n]/.test(value) ? `"${String(value).replaceAll('"', '""')}"` : value;
  const lines = written().map((i) => columns.map((name) => {
    const mine = state.read[i];
    if (name === "session") return cell(rows[i], name) || kept.day;
    if (!fields(rows[i]).includes(name)) return cell(rows[i], name);
    return trouble(state, i, name) ? "" : number(name, mine[name] ?? "") ?? "";
  }).map(quote).join(","));
  return [columns.join(","), ...lines].join("\n") + "\n";
}

async function handOver() {
  if (unsettled(state)) { draw(); return; }
  const file = new File([csv()], `putts ${kept.day || today()}.csv`, { type: "text/csv" });
  if (navigator.canShare?.({ files: [file] })) {
    try { await navigator.share({ files: [file] }); return; }
    catch (error) { if (error.name === "AbortError") return; }
  }
  const link = document.createElement("a");
  link.href = URL.createObjectURL(file); link.download = file.name; link.click();
}

function draw() {
  const i = row(state), mine = inGroup[state.group], place = state.place[state.group], count = written().length;
  const done = i === undefined, game = !done && fields(rows[i])[0] === "putts_taken";
  const inGame = game ? mine.filter((j) => fields(rows[j])[0] === "putts_taken") : [];
  show("where").textContent = done ? `${mine.length} of ${mine.length}` :
    game ? `Hole ${inGame.indexOf(i) + 1} of ${inGame.length}` : `Putt ${place + 1} of ${mine.length - mine.filter((j) => fields(rows[j])[0] === "putts_taken").length}`;
  show("length").textContent = done ? "All done" : `${short(i)} ${units}`;
  show("note").textContent = done ? "Hand over the file, or go back to mend a putt." : notes[i];
  const before = mine[place - 1], past = state.read[before];
  show("last").textContent = !past ? "" : "Before: " + fields(rows[before])
    .filter((name) => past[name]).map((name) => `${LABELS[name].split(",")[0].toLowerCase()} ${words(name, past[name])}`).join(", ");
  for (const at of [0, 1]) {
    const box = show("field" + at), name = done ? "" : fields(rows[i])[at];
    box.hidden = done;
    box.setAttribute("aria-pressed", String(at === state.field));
    box.firstElementChild.textContent = LABELS[name] ?? "";
    box.lastElementChild.textContent = words(name, state.read[i]?.[name] ?? "") || "–";
  }
  const line = !done && fields(rows[i])[state.field] === "line_deg";
  for (const key of document.querySelectorAll("[data-key=L], [data-key=R]")) key.disabled = !line;
  document.querySelector("[data-key='.']").disabled = done || fields(rows[i])[state.field] === "putts_taken";
  document.querySelector("[data-key=undo]").disabled = !kept.keys.length;
  show("says").textContent = state.says;
  show("hand").textContent = `Hand over (${count})`;
  show("hand").disabled = !count;
  show("refused").hidden = !refused;
  show("group").value = state.group;
  show("text").value = count ? csv() : "";
}

const KEYS = { ",": ".", Backspace: "rub", Enter: "next", "-": "L", "\u2212": "L", "+": "R", l: "L", r: "R", ArrowLeft: "L", ArrowRight: "R" };
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("select, textarea, summary")) return;
  if (event.key === "Enter" && event.target.closest("button, a")) return; // that one is pressed
  const key = KEYS[event.key] ?? event.key;
  if (/^(\d|[.LR]|rub|next)$/.test(key)) { event.preventDefault(); press(key); }
});
document.addEventListener("click", (event) => {
  const key = event.target.closest("[data-key]");
  if (!key) return;
  if (event.detail) key.blur(); // touched: Enter on a keyboard is Next again, not this key
  press(key.dataset.key);
});
show("hand").addEventListener("click", handOver);
show("anew").addEventListener("click", () => {
  if (!confirm("Forget every reading in this page? Hand over the file first.")) return;
  kept = { keys: [], day: "", at: 0 }; state = fresh(); store(); draw();
});
for (const [at, group] of groups.entries()) show("group").add(new Option(group.split("\n").filter(Boolean).join(", "), at));
show("groups").hidden = groups.length < 2;
show("group").addEventListener("change", (event) => press("group " + event.target.value));
window.addEventListener("beforeunload", (event) => { if (refused && kept.keys.length) event.preventDefault(); });
recall();
// Another tab wrote.
window.addEventListener("storage", (event) => { if (event.key === KEEP) { recall(); draw(); } });
if (kept.keys.length && kept.day !== today()) state.says = `Readings of ${kept.day} are still here. Start anew below once they are handed over.`;
show("pad").hidden = false;
draw();
