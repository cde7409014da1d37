// Shapes that say what to do without words: each a drawing on a field of 24 by 24.

import { drawn } from "./parts.js";

const PATHS = {
  none: "",
  pour: "M4 3h9l3 5h-3v2a3 3 0 0 1-6 0V8L4 6ZM18 11v10M14 14v7M22 15v6",
  slow: "M4 3h9l3 5h-3v2a3 3 0 0 1-6 0V8L4 6ZM18 12v3M18 18v3",
  drop: "M12 3c4 6 6 9 6 12a6 6 0 0 1-12 0c0-3 2-6 6-12Z",
  stop: "M8 2h8l6 6v8l-6 6H8l-6-6V8ZM7 12h10",
  wait: "M6 2h12M6 22h12M7 2c0 6 10 8 10 14v6M17 2c0 6-10 8-10 14v6",
  in: "M3 3v18h4M21 3v18h-4M7 11l4 5 7-10",
  over: "M22 12H4M11 5l-7 7 7 7",
  choose: "M12 22V13L4 4M12 13l8-9M4 10V4h6M14 4h6v6",
  vessel: "M2 11h20c0 6-4 10-10 10S2 17 2 11ZM12 1v7M9 5l3 3 3-3",
  lift: "M2 13h20c0 5-4 9-10 9S2 18 2 13ZM12 9V1M9 4l3-3 3 3",
  more: "M12 4v16M4 12h16",
  later: "M4 3v8a6 6 0 0 0 6 6h10M15 11l6 6-6 6",
  held: "M7 3v18M17 3v18",
  lost: "M2 12h5l2-4M22 12h-5l-2 4M13 3l-3 18",
  warning: "M12 2 23 21H1ZM12 9v6M12 17.5v1",
  moving: "M2 9c3-4 5-4 8 0s5 4 8 0l4-3M2 17c3-4 5-4 8 0s5 4 8 0l4-3",
  rest: "M2 19h20M12 3v12M7 10l5 5 5-5",
};

/** The drawing of that name; it is beside words that say the same, so that readers of the screen pass it over. */
export function shape(name) {
  return drawn("svg", { class: "shape", viewBox: "0 0 24 24", "aria-hidden": "true", focusable: "false" }, drawn("path", { d: PATHS[name] ?? "" }));
}
