// Lists that never scroll: as many lines as there is room for, the last one then says how many more there are.

import { mass } from "./grams.js";
import { part, refill } from "./parts.js";
import { shape } from "./shapes.js";

/** Fill a list with the lines that fit, in one column or in several; `line(item)` makes one. */
export function fitted(list, items, line, columns = 1) {
  const height = list.clientHeight;
  refill(list, [items, height], () => {
    if (items.length === 0) return [part("li", { class: "rest" }, list.dataset.none ?? "")];
    const lines = items.map(line);
    list.replaceChildren(...lines.slice(0, 1));
    const room = columns * Math.max(1, Math.floor((height + 1) / (list.firstElementChild?.offsetHeight || height || 1)));
    if (items.length <= room || room === 1) return lines.slice(0, room);
    const left = items.length - (room - 1);
    return [...lines.slice(0, room - 1), part("li", { class: "rest" }, `and ${left} more`)];
  });
}

const named = (item, figure) => [part("span", { class: "name" }, item.ingredient), part("span", { class: "grams" }, figure)];

export function upcomingLine(item) {
  return part("li", {}, ...named(item, mass(item.target_g)));
}

const MARKS = {
  fits: ["in", "in tolerance"],
  off: ["warning", "out of tolerance"],
  pending: ["more", "still to be topped up"],
};

/** What is in, and how it stands: `fits`, `off`, or `pending` where a new factor asks for more of it. */
export function doneLine(item) {
  const [drawing, words] = MARKS[item.stands];
  return part("li", { class: item.stands }, shape(drawing), part("span", { class: "heard-only" }, words), ...named(item, mass(item.actual_g)));
}

/** The lines of what is in, each with how it stands against what is still to be weighed. */
export function standing({ done, upcoming, addition }) {
  const open = [addition, ...upcoming].filter((item) => item !== null);
  const isOpen = (item) => open.some(({ ingredient, stage }) => ingredient === item.ingredient && stage === item.stage);
  return done.map((item) => ({ ...item, stands: isOpen(item) ? "pending" : item.in_tolerance ? "fits" : "off" }));
}
