// Building what is shown. Text is always text: nothing from a file or a hand becomes markup.

export const by = (id) => document.getElementById(id);

/** An element with attributes (functions become listeners) and children. */
export function el(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (typeof value === "function") made.addEventListener(name, value);
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}

export const fill = (place, ...children) => place.replaceChildren(...children.filter((child) => child !== null && child !== undefined));
export const button = (text, press, look = "key") => el("button", { type: "button", class: look, click: press }, text);
export const counted = (n, one, more = `${one}s`) => `${n.toLocaleString("en-GB")} ${n === 1 ? one : more}`;
export const entries = (n) => counted(n, "entry", "entries");
