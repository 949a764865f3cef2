// What every page must hold: names, labels, headings, contrast (WCAG 2.2, 1.4.3), reflow (1.4.10) and the
// size of targets (2.5.8). Returns a list of what does not.
() => {
  const bad = [];
  const html = (e) => e.outerHTML.slice(0, 90);
  const seen = (e) => {
    const r = e.getBoundingClientRect();
    return r.width > 1 && r.height > 1 && getComputedStyle(e).visibility !== "hidden";
  };
  const all = (css) => [...document.querySelectorAll(css)].filter(seen);

  all("a,button").forEach((e) => {
    if (!(e.getAttribute("aria-label") || e.textContent).trim()) bad.push("no name: " + html(e));
  });
  all("input:not([type=hidden]),select,textarea").forEach((e) => {
    if (!e.labels.length && !e.getAttribute("aria-label")) bad.push("no label: " + html(e));
  });
  all("img,svg[role=img]").forEach((e) => {
    if (e.getAttribute("aria-label") === null && !e.alt) bad.push("no text: " + html(e));
  });

  const heads = all("h1,h2,h3,h4").map((e) => Number(e.tagName[1]));
  if (heads.filter((h) => h === 1).length !== 1) bad.push("h1: " + heads);
  heads.forEach((h, i) => {
    if (i && h > heads[i - 1] + 1) bad.push("heading jumps: " + heads);
  });
  const ids = [...document.querySelectorAll("[id]")].map((e) => e.id);
  ids.filter((x, i) => ids.indexOf(x) !== i).forEach((x) => bad.push("id twice: " + x));

  const linear = (v) => (v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4);
  const light = (c) => 0.2126 * linear(c[0]) + 0.7152 * linear(c[1]) + 0.0722 * linear(c[2]);
  const rgb = (text) => {
    const m = text.match(/[\d.]+/g).map(Number);
    return m.length > 3 && m[3] === 0 ? null : m.slice(0, 3);
  };
  const ground = (e) => {
    for (; e; e = e.parentElement) {
      const c = rgb(getComputedStyle(e).backgroundColor);
      if (c) return c;
    }
    return [255, 255, 255];
  };
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement, text = walk.currentNode.textContent.trim();
    if (!text || !seen(e) || e.closest("svg,script,style,noscript,.unseen,.skip")) continue;
    const s = getComputedStyle(e), size = parseFloat(s.fontSize);
    const pair = [light(rgb(s.color)), light(ground(e))];
    const ratio = (Math.max(...pair) + 0.05) / (Math.min(...pair) + 0.05);
    const large = size >= 24 || (size >= 18.66 && Number(s.fontWeight) >= 700);
    if (ratio < (large ? 3 : 4.5)) bad.push("contrast " + ratio.toFixed(2) + ": " + text.slice(0, 40));
  }

  const wide = document.documentElement.scrollWidth;
  if (wide > innerWidth + 1) bad.push("wider than the window: " + wide);
  all("button,select,input[type=text],input[type=range],.button").forEach((e) => {
    if (e.getBoundingClientRect().height < 24) bad.push("small: " + html(e));
  });
  return bad;
}
