// The rule's axis: how far along it a mass lies. The last stretch before the target, and what lies over it, is drawn
// ten times wider than the way there, so that the band is wide enough to see and a gram near the end moves the index.

export const WIDER = 10;

/** The axis for a target and its band in grams; positions are shares of the rule's length, 0 to 1. */
export function axisFor(target, low, high) {
  const last = Math.min(target, Math.max(0.1 * target, 1.6 * (target - low)));
  const beyond = Math.max(0.05 * target, 1.5 * (high - target));
  const coarse = target - last;
  const length = coarse + WIDER * (last + beyond);
  return {
    target, low, high,
    from: coarse,
    end: target + beyond,
    bend: coarse / length,
    at(grams) {
      const inside = Math.min(Math.max(grams, 0), target + beyond);
      const past = Math.max(0, inside - coarse);
      return (Math.min(inside, coarse) + WIDER * past) / length;
    },
  };
}

/** The step (1, 2 or 5 times a power of ten) that divides `span` into at most `most` parts. */
export function niceStep(span, most) {
  const raw = span / most;
  const power = 10 ** Math.floor(Math.log10(raw));
  return [1, 2, 5, 10].map((digit) => digit * power).find((step) => step >= raw * (1 - 1e-9));
}

/** Graduations of both parts: what is missing there (`missing`, below 0: over), position, and whether it is a long one. */
export function graduations(axis, length) {
  const marks = [];
  const add = (from, to, room) => {
    const span = to - from;
    if (span <= 0) return;
    const pixels = (axis.at(to) - axis.at(from)) * length;
    const long = niceStep(span, Math.max(1, Math.floor(pixels / room)));
    const short = long / 5;
    const first = Math.ceil((axis.target - to) / short - 1e-6);
    const final = Math.floor((axis.target - from) / short + 1e-6);
    for (let count = first; count <= final; count += 1) {
      const missing = count * short;
      marks.push({ missing, at: axis.at(axis.target - missing), isLong: count % 5 === 0, long });
    }
  };
  add(axis.from, axis.end, 58);
  add(0, axis.from - 1e-9, 64);
  return marks;
}
