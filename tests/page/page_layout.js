// What is wrong with the layout as it stands, in words; an empty list where nothing is.
() => {
  const faults = [];
  const root = document.scrollingElement;
  const width = window.innerWidth;
  const height = window.innerHeight;
  if (root.scrollHeight > root.clientHeight || root.scrollWidth > root.clientWidth) {
    faults.push(`the page scrolls: ${root.scrollWidth}x${root.scrollHeight} in ${root.clientWidth}x${root.clientHeight}`);
  }
  window.scrollTo(50, 50);
  if (window.scrollX !== 0 || window.scrollY !== 0) faults.push("the page can be scrolled");
  const name = (element) => element.id ? `#${element.id}` : `${element.localName}.${element.getAttribute("class") ?? ""}`;
  const open = document.querySelector("dialog[open]");
  const seen = (element) => {
    if (open !== null && !open.contains(element)) return false;
    return element.closest(".heard-only, noscript") === null && element.checkVisibility({ visibilityProperty: true })
      && getComputedStyle(element).clipPath === "none";
  };
  const clipped = (element) => {
    const style = getComputedStyle(element);
    return style.textOverflow === "ellipsis" || style.webkitLineClamp !== "none";
  };
  const hides = (style) => style.overflowY !== "visible" || style.overflowX !== "visible";
  const all = [...document.querySelectorAll("body *")].filter((element) => seen(element) && element.closest("svg") === null);
  for (const element of all) {
    const style = getComputedStyle(element);
    const over = element.scrollHeight > element.clientHeight + 1 || element.scrollWidth > element.clientWidth + 1;
    if (/auto|scroll/.test(style.overflow) && over) faults.push(`${name(element)} scrolls`);
    else if (hides(style) && over && !clipped(element)) {
      faults.push(`${name(element)} cuts off its content: ${element.scrollWidth}x${element.scrollHeight} in ${element.clientWidth}x${element.clientHeight}`);
    }
    const box = element.getBoundingClientRect();
    if (box.width > 0 && (box.left < -1 || box.top < -1 || box.right > width + 1 || box.bottom > height + 1)) {
      faults.push(`${name(element)} lies outside: ${[box.left, box.top, box.right, box.bottom].map(Math.round)}`);
    }
  }
  const texts = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode;
    if (node.textContent.trim() === "" || !seen(node.parentElement)) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const line of range.getClientRects()) {
      // A line's box is higher than its letters: what is seen is about 0.75 em around its middle.
      const size = parseFloat(getComputedStyle(node.parentElement).fontSize);
      const middle = (line.top + line.bottom) / 2;
      let box = { left: line.left, right: line.right, top: Math.max(line.top, middle - size * 0.375), bottom: Math.min(line.bottom, middle + size * 0.375) };
      for (let above = node.parentElement; above !== null; above = above.parentElement) {
        if (!hides(getComputedStyle(above)) || above.closest("svg") !== null) continue;
        const frame = above.getBoundingClientRect();
        box = { left: Math.max(box.left, frame.left), right: Math.min(box.right, frame.right), top: Math.max(box.top, frame.top), bottom: Math.min(box.bottom, frame.bottom) };
      }
      if (box.right - box.left > 2 && box.bottom - box.top > 2) texts.push({ ...box, node, text: node.textContent.trim() });
    }
  }
  texts.forEach((one, index) => {
    for (const other of texts.slice(index + 1)) {
      if (one.node === other.node) continue;
      const across = Math.min(one.right, other.right) - Math.max(one.left, other.left);
      const down = Math.min(one.bottom, other.bottom) - Math.max(one.top, other.top);
      if (across > 2 && down > 2) faults.push(`"${one.text}" lies over "${other.text}"`);
    }
    if (one.left < -1 || one.right > width + 1 || one.top < -1 || one.bottom > height + 1) faults.push(`"${one.text}" lies outside`);
  });
  for (const button of all.filter((element) => element.localName === "button")) {
    const box = button.getBoundingClientRect();
    if (box.width < 44 || box.height < 24) faults.push(`${name(button)} "${button.textContent}" is too small to hit: ${box.width}x${box.height}`);
  }
  return faults;
}
