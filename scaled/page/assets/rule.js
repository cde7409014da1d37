// A straight graduated rule with a gap where the band is, and an index that nears it. Its graduations say what is
// still missing, so that they read as the large figure does. Where the index stands is said by its shape, too: a point
// on the way, a key that fits into the gap, an arrow that points back.

import { axisFor, graduations } from "./axis.js";
import { number } from "./grams.js";
import { drawn } from "./parts.js";

const EDGE = 14;

export class Rule {
  constructor(place) {
    this.place = place;
    this.made = "";
  }

  /** Draw the rule for an addition and put the index where it is; `ahead` is where the pour would come to rest. */
  draw(addition, ahead) {
    const [low, high] = addition.band_g;
    const { clientWidth: width, clientHeight: height } = this.place;
    if (width === 0 || height === 0) return;
    const key = JSON.stringify([addition.target_g, low, high, width, height]);
    if (key !== this.made) {
      this.made = key;
      this.axis = axisFor(addition.target_g, low, high);
      this.build(width, height);
    }
    const net = addition.target_g - addition.remaining_g;
    this.point(net, ahead);
    const where = net > high ? "over" : net >= low ? "in" : "under";
    if (this.drawing.dataset.where !== where) this.drawing.dataset.where = where;
    this.drawing.setAttribute("aria-label", describe(addition, where));
  }

  build(width, height) {
    const length = width - 2 * EDGE;
    const size = parseFloat(getComputedStyle(this.place).fontSize);
    const top = Math.round(size * 1.5);
    const foot = Math.round(height - size * 1.25);
    this.x = (grams) => EDGE + this.axis.at(grams) * length;
    this.top = top;
    const bend = this.x(this.axis.from);
    const low = this.x(this.axis.low);
    const high = this.x(this.axis.high);
    const slim = Math.round(top + (foot - top) * 0.42);
    this.index = this.indexShape(size, top, foot, high - low);
    this.ahead = drawn("path", { class: "ahead", d: triangle(size * 0.5, top) });
    this.drawing = drawn(
      "svg", { role: "img", width, height, viewBox: `0 0 ${width} ${height}` },
      drawn("path", { class: "wood", d: `M${EDGE} ${top}H${bend}V${slim}H${EDGE}Z` }),
      drawn("path", { class: "wood fine", d: `M${bend} ${top}H${low}V${foot}H${bend}Z` }),
      drawn("path", { class: "wood fine", d: `M${high} ${top}H${width - EDGE}V${foot}H${high}Z` }),
      drawn("path", { class: "gap", d: `M${low} ${top}V${foot}M${high} ${top}V${foot}` }),
      drawn("text", { class: "wider", x: bend + size * 0.4, y: foot - size * 0.4 }, "×10"),
      drawn("path", { class: "floor", d: `M${low} ${foot}H${high}` }),
      ...this.marks(length, size, top, slim, foot),
      this.ahead,
      this.index,
    );
    this.place.replaceChildren(this.drawing);
  }

  marks(length, size, top, slim, foot) {
    const made = [];
    let taken = Infinity;
    for (const mark of graduations(this.axis, length).sort((one, other) => other.at - one.at)) {
      const x = EDGE + mark.at * length;
      const isFine = this.axis.target - mark.missing >= this.axis.from - 1e-6;
      const bottom = isFine ? foot : slim;
      const isInGap = mark.missing < this.axis.target - this.axis.low && -mark.missing < this.axis.high - this.axis.target;
      const share = mark.isLong ? 0.5 : 0.26;
      if (!isInGap) made.push(drawn("path", { class: "mark", d: `M${x} ${top}v${(bottom - top) * share}` }));
      const label = mark.missing === 0 ? "0" : mark.missing < 0 ? `+${trim(-mark.missing)}` : trim(mark.missing);
      const room = label.length * size * 0.32 + size * 0.3;
      const isRead = mark.isLong && (mark.missing === 0 || !isInGap) && (isFine || x + room < this.x(this.axis.from));
      if (isRead && x + room < taken && x - room > -size * 0.4 && x + room < length + 2 * EDGE + size * 0.4) {
        made.push(drawn("text", { class: mark.missing === 0 ? "label zero" : "label", x, y: bottom + size * 1.02 }, label));
        taken = x - room;
      }
    }
    return made;
  }

  /** The index as three shapes over one another; the stylesheet shows the one for where it stands. */
  indexShape(size, top, foot, gap) {
    const half = Math.max(size * 0.16, Math.min(gap / 6, size * 0.5));
    const arrow = size * 0.75;
    return drawn(
      "g", { class: "index" },
      drawn("path", { class: "under", d: `${triangle(size * 0.85, top)}M-1.5 ${top - 2}H1.5V${foot}H-1.5Z` }),
      drawn("path", { class: "in", d: `M${-size * 0.85} 2H${size * 0.85}L${half} ${top}V${foot - 2}H${-half}V${top}Z` }),
      drawn("path", { class: "over", d: `M${arrow} 3H0V0L${-arrow * 1.2} ${top / 2}L0 ${top}V${top - 3}H${arrow}ZM-1.5 ${top}H1.5V${foot}H-1.5Z` }),
    );
  }

  point(net, ahead) {
    this.index.style.transform = `translateX(${this.x(net).toFixed(1)}px)`;
    this.ahead.style.transform = `translateX(${this.x(ahead ?? net).toFixed(1)}px)`;
    this.ahead.style.visibility = ahead === null ? "hidden" : "visible";
  }
}

const triangle = (half, tip) => `M${-half} 0H${half}L0 ${tip}Z`;
const trim = (grams) => number(grams, 3).replace(/\.?0+$/, "");

function describe(addition, where) {
  const place = { under: "short of the band", in: "in the band", over: "over the band" }[where];
  return `Rule from 0 to ${addition.target_g} grams, the last stretch ten times wider; the index is ${place}.`;
}
