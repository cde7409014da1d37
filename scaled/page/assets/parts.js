// Small pieces of the document. Text is only ever set as text: nothing here reads markup out of a string.

const SVG = "http://www.w3.org/2000/svg";

/** An element with attributes and children (text or elements); what is null or false is left out. */
export function part(name, attributes = {}, ...children) {
  return filled(document.createElement(name), attributes, children);
}

/** The same for a drawing. */
export function drawn(name, attributes = {}, ...children) {
  return filled(document.createElementNS(SVG, name), attributes, children);
}

function filled(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== null && value !== false && value !== undefined) element.setAttribute(name, value);
  }
  element.append(...children.filter((child) => child !== null && child !== false && child !== undefined));
  return element;
}

export const byId = (id) => document.getElementById(id);

/** Set an element's text, touching the document only where it differs. */
export function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/** Show or hide an element. */
export function show(element, isShown) {
  if (element.hidden === isShown) element.hidden = !isShown;
}

/** Fill an element with new children where `key` (what they are made of) has changed; returns whether it did. */
export function refill(element, key, children) {
  const text = JSON.stringify(key);
  if (element.dataset.made === text) return false;
  element.dataset.made = text;
  element.replaceChildren(...children());
  return true;
}

const WIDTHS = { ".": 0.38, "\u2013": 0.5, " ": 0.35, "\u2212": 0.84 };
const DIGIT = 0.67;
const LEAST = 3 * DIGIT;

/** Tell the stylesheet how wide a figure is in em (as wide as bold faces set it): its size follows. */
export function measure(element, text) {
  const width = [...text].reduce((sum, character) => sum + (WIDTHS[character] ?? DIGIT), 0);
  const shown = Math.max(LEAST, width).toFixed(2);
  if (element.dataset.width !== shown) {
    element.dataset.width = shown;
    element.style.setProperty("--width", shown);
  }
}
