// The bench: one line for everything. First a board, then features, grades where they differ, an empty line keeps all.

const root = document.querySelector("[data-bench]");
const part = (name) => root.querySelector(`[data-${name}]`);
const token = () => document.querySelector("[name=csrfmiddlewaretoken]").value;
const sample = root.dataset.sample;
const input = root.querySelector("#bench-line");
const fresh = () => ({ code: null, lines: [], grades: {}, reasons: {}, sizes: {}, said: null, seen: null, asking: 0 });
let scans = 0;
let at = fresh();

part("form").addEventListener("submit", (event) => {
  event.preventDefault();
  enter(input.value.trim());
});
part("keep").addEventListener("click", () => keep());
part("nothing").addEventListener("click", () => nothingElse());
part("back").addEventListener("click", () => takeBack());
part("leave").addEventListener("click", () => leave());
if (root.dataset.next) scan(root.dataset.next);

function enter(text) {
  if (at.code === null) return text ? scan(text) : say("Scan a board first.", "wrong");
  const word = text.toLowerCase();
  if (word === "") return keep();
  if (word === "leave") return leave();
  if (sample) return blind(text);
  if (word === "undo") return takeBack();
  if (word === "ok") return nothingElse();
  const grade = /^g(\d*)\s+(.+)$/i.exec(text);
  if (grade) return override(Number(grade[1] || 1), grade[2]);
  const size = /^s(\d*)\s+([\d.,]+)\s+([\d.,]+)$/i.exec(text);
  if (size) return resize(Number(size[1] || 1), size[2], size[3]);
  at.lines.push(text);
  return suggest(text);
}

async function ask(url, body) {
  const headers = { "X-CSRFToken": token(), "X-Sample": sample, "Content-Type": "application/json" };
  const options = body ? { method: "POST", headers, body: JSON.stringify(body) } : { headers };
  try {
    const response = await fetch(url, options);
    const type = response.headers.get("content-type") || "";
    if (!type.includes("json")) return { wrong: response.redirected ? "You are signed out: sign in again in another tab." : `The server answered ${response.status}.` };
    return await response.json();
  } catch {
    return { wrong: "No network: nothing was sent. Try again." };
  }
}

async function scan(text) {
  say("…");
  const mine = ++scans;
  const found = await ask(`${root.dataset.boardUrl}?code=${encodeURIComponent(text)}&sample=${sample}`);
  if (mine !== scans) return undefined;
  if (found.wrong) return say(found.wrong, "wrong", true);
  at = fresh();
  at.code = found.board;
  at.seen = found.seen;
  part("code").textContent = found.board;
  facts(part("facts"), found.facts);
  facts(part("origin"), found.origin);
  part("origin-box").open = false;
  part("origin-box").hidden = Boolean(sample);
  part("earlier").replaceChildren(...found.earlier.map(earlierLine));
  part("on-board").hidden = false;
  part("label").textContent = sample ? "Grade" : "Feature, grade, or an empty line to keep";
  input.value = "";
  show(found);
  say(`Board ${found.board}`);
  return input.focus();
}

async function suggest(last) {
  const mine = ++at.asking;
  const found = await ask(root.dataset.suggestUrl, { board: at.code, lines: at.lines });
  if (mine !== at.asking) return;
  if (found.wrong) return say(found.wrong, "wrong");
  const wrong = found.lines.find((line) => line.wrong);
  if (wrong) {
    at.lines = at.lines.filter((line) => line !== wrong.text);
    say(`${wrong.text}: ${wrong.wrong}`, "wrong");
    input.select();
    return;
  }
  show(found);
  input.value = "";
  say(last ? `${last}: ${found.sets.map((s) => `${s.title} ${s.suggested || "not said"}`).join("; ")}` : "");
}

function show(found) {
  at.said = found;
  part("sets").replaceChildren(...found.sets.map(setCard));
  if (found.svg) {
    // Pictures come from our own server, drawn there with every text escaped.
    part("picture").innerHTML = `<div class="wide-only">${found.svg}</div><div class="narrow-only">${found.svg_narrow}</div>`;
  }
  part("lines").replaceChildren(...at.lines.map((line) => element("li", line)));
  for (const name of ["nothing", "back"]) part(name).hidden = Boolean(sample);
}

function setCard(set, index) {
  const given = at.grades[set.id] ?? set.suggested;
  const against = set.suggested !== null && given !== set.suggested;
  const card = element("div", "", `bench-set${against ? " against" : ""}`);
  card.append(element("h3", `${index + 1}. ${set.title}`));
  card.append(element("div", given ?? (set.provisional ? `not said; ${set.provisional} if nothing more is found` : "no grade yet"), "bench-grade"));
  if (against) card.append(element("p", `suggested ${set.suggested}; ${at.reasons[set.id] || "say why"}`));
  else if (set.words) card.append(element("p", set.piece ? `${set.piece}; ${set.words}` : set.words));
  const size = at.sizes[set.id];
  if (size) card.append(element("p", `piece as given: ${size[0]} m × ${size[1]} mm`));
  if (set.not_assessed.length) card.append(element("p", `not assessed: ${set.not_assessed.join(", ")}`, "quiet"));
  if (set.reasons.length) card.append(element("p", `${set.suggested === set.grades[0] ? "against the whole board" : "against the next better"}: ${set.reasons.join("; ")}`, "quiet"));
  const choices = element("div", "", "bench-choices");
  for (const grade of set.grades) {
    const button = element("button", grade);
    button.type = "button";
    button.setAttribute("aria-pressed", String(grade === given));
    button.addEventListener("click", () => chosen(index + 1, grade));
    choices.append(button);
  }
  card.append(choices);
  return card;
}

function setNumber(number) {
  return at.said.sets[number - 1];
}

function chosen(number, grade) {
  const set = setNumber(number);
  if (sample || set.suggested === null || set.suggested === grade) {
    at.grades[set.id] = grade;
    show(at.said);
    return input.focus();
  }
  input.value = `g${number} ${grade} `;
  say(`Say why ${grade} and not ${set.suggested}, then Enter.`);
  return input.focus();
}

function override(number, rest) {
  const set = setNumber(number);
  if (!set) return say(`There are ${at.said.sets.length} rule sets.`, "wrong");
  const low = rest.toLowerCase();
  const grade = [...set.grades].sort((a, b) => b.length - a.length).find((g) => low === g.toLowerCase() || low.startsWith(`${g.toLowerCase()} `));
  if (!grade) return say(`${set.title} has the grades ${set.grades.join(", ")}.`, "wrong");
  const reason = rest.slice(grade.length).trim();
  if (set.suggested !== null && set.suggested !== grade && !reason) return say(`Say why ${grade} and not ${set.suggested}: g${number} ${grade} and the reason.`, "wrong");
  at.grades[set.id] = grade;
  at.reasons[set.id] = reason;
  show(at.said);
  input.value = "";
  return say(`${set.title}: ${grade}`);
}

function resize(number, length, width) {
  const set = setNumber(number);
  if (!set) return say(`There are ${at.said.sets.length} rule sets.`, "wrong");
  const size = [Number(length.replace(",", ".")), Number(width.replace(",", "."))];
  if (!size.every(Number.isFinite)) return say("Length in m and width in mm are numbers: s1 2.4 150.", "wrong");
  at.sizes[set.id] = size;
  show(at.said);
  input.value = "";
  return say(`${set.title}: piece ${length} m × ${width} mm`);
}

function blind(text) {
  const set = at.said.sets[0];
  const grade = set.grades.find((g) => g.toLowerCase() === text.toLowerCase());
  if (!grade) return say(`The grades are ${set.grades.join(", ")}.`, "wrong", true);
  at.grades[set.id] = grade;
  show(at.said);
  input.value = "";
  return say(`${grade}; Enter keeps it.`);
}

function nothingElse() {
  if (!at.said || at.code === null) return;
  at.lines.push(...at.said.nothing_else);
  suggest("Nothing else found");
}

function takeBack() {
  if (!at.lines.length) return say("No line to take back.");
  const line = at.lines.pop();
  return suggest(`${line} taken back`);
}

async function keep() {
  if (at.code === null || !at.said) return;
  const grades = [];
  for (const set of at.said.sets) {
    const grade = at.grades[set.id] ?? set.suggested;
    if (!grade) return say(`${set.title}: no grade yet. ${sample ? "Type it." : "Type what is missing, ok, or g and the grade."}`, "wrong");
    const size = at.sizes[set.id] || [];
    grades.push({ rule_set: set.id, grade, reason: at.reasons[set.id] || "", length_m: size[0], width_mm: size[1] });
  }
  const code = at.code;
  const found = await ask(root.dataset.keepUrl, { board: code, lines: at.lines, grades, seen: at.seen });
  if (found.wrong) return say(found.wrong, "wrong");
  progress(found);
  leave();
  say(`${code}: ${grades.map((g) => g.grade).join(", ")} kept.`, "right");
  if (found.next) scan(found.next);
}

function leave() {
  at = fresh();
  part("on-board").hidden = true;
  part("label").textContent = "Board: scan or type its code";
  input.value = "";
  input.focus();
  say("");
}

function progress(found) {
  const pace = found.per_hour ? `, ${Math.round(found.per_hour)} an hour` : "";
  const all = found.total ? ` of ${found.total}` : "";
  part("progress").replaceChildren(element("strong", `${found.boards}${all} ${found.boards === 1 && !all ? "board" : "boards"}`), ` graded${pace}`);
  part("last").textContent = found.last.join(", ");
}

function earlierLine(grade) {
  const why = grade.reason ? ` (${grade.reason})` : "";
  return element("p", `On record: ${grade.title}: ${grade.grade} by ${grade.by}${why}. Keeping again takes its place; history keeps it.`, "quiet");
}

function facts(list, pairs) {
  list.replaceChildren(...pairs.map(([name, value]) => {
    const row = element("div");
    row.append(element("dt", name), element("dd", value));
    return row;
  }));
}

function say(words, kind = "", select = false) {
  part("said").textContent = words;
  part("said").className = `bench-said ${kind}`;
  if (select) input.select();
}

function element(tag, text = "", class_ = "") {
  const made = document.createElement(tag);
  if (text) made.textContent = text;
  if (class_) made.className = class_;
  return made;
}
