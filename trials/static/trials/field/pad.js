// The keys of the bottom half: digits for numbers, large keys with words for scales, an own field for text.
import { by, el, fill } from "./dom.js";

/** A key press as a change of what is typed; null where the key has no meaning for the trait. */
export function pressed(typed, key, trait) {
  if (key === "erase") return typed.slice(0, -1);
  if (key === "." || key === ",") return trait.decimals > 0 && !typed.includes(".") ? `${typed || "0"}.` : null;
  if (key === "sign") return typed.startsWith("-") ? typed.slice(1) : `-${typed}`;
  if (!/^\d$/.test(key)) return null;
  const [, after] = typed.split(".");
  if (after !== undefined && after.length >= trait.decimals) return null;
  if (typed.replace(/[-.]/g, "").length >= 9) return null;
  return typed === "0" ? key : typed + key;
}

/** The number that is typed; null where it is none. */
export function numberOf(typed) {
  const number = Number(typed);
  return typed === "" || typed === "." || typed === "-" || !Number.isFinite(number) ? null : number;
}

/** The choices of a scale or a yes/no as {value, text, key}; null for other traits. */
export function choices(trait) {
  if (trait.kind === "yes_no") return [{ value: 1, text: "Yes", key: "" }, { value: 0, text: "No", key: "" }];
  if (trait.kind !== "ordinal") return null;
  return (trait.points ?? []).map((point) => ({ value: point.value, text: String(point.text ?? ""), key: String(point.value) }));
}

/** How a value of the trait reads, with its words. */
export function worded(trait, value, shown) {
  if (value === null || value === undefined) return "";
  const choice = choices(trait)?.find((c) => c.value === Number(value));
  if (!choice) return shown(value);
  return choice.key ? `${choice.key} ${choice.text}`.trim() : choice.text;
}

const DIGITS = ["1", "2", "3", "4", "5", "6", "7", "8", "9", ".", "0", "erase"];

/** Draw the keys for a trait. `on` has press(key), choose(value), write(text) and the commands. */
export function drawPad(trait, chosen, on) {
  const key = (label, look, press, more = {}) => el("button", { type: "button", class: `key ${look}`, click: press, ...more }, label);
  const command = (label, name, look = "") => key(label, `command ${look}`, () => on.command(name), { "data-command": name });
  fill(
    by("keys"),
    entryKeys(trait, chosen, on, key),
    el("div", { class: "side" }, command("Same as before", "same"), command("Dead", "dead"), command("Missing", "missing"), command("Note", "note")),
    el("div", { class: "steps" }, command("Back", "back"), command("Skip", "skip"), command("Next", "next", "primary")),
  );
}

function entryKeys(trait, chosen, on, key) {
  const options = choices(trait);
  if (options) {
    const look = `scale ${options.length > 5 ? "many" : ""} ${trait.kind}`;
    const one = (o) => key("", "choice", () => on.choose(o.value), { "aria-pressed": String(chosen === o.value), "data-value": o.value });
    return el("div", { class: look }, ...options.map((o) => {
      const made = one(o);
      made.append(...(o.key ? [el("b", {}, o.key)] : []), el("span", {}, o.text));
      return made;
    }));
  }
  if (trait.kind === "text") {
    const field = el("textarea", { id: "text", "aria-label": trait.name, placeholder: "Type here", input: (event) => on.write(event.target.value) });
    field.value = chosen ?? "";
    return el("div", { class: "scale" }, field);
  }
  const below = trait.minimum !== null && trait.minimum < 0 ? [key("±", "digit wide", () => on.press("sign"), { "data-key": "sign" })] : [];
  return el("div", { class: "digits" }, ...DIGITS.map((digit) => {
    const label = digit === "erase" ? "⌫" : digit;
    const more = digit === "erase" ? { "aria-label": "Erase the last digit" } : {};
    return key(label, "digit", () => on.press(digit), { ...more, "data-key": digit, disabled: digit === "." && !(trait.decimals > 0) });
  }), ...below);
}
