"""What a page shows and says, read through every shadow root, for the tests of its languages.

Contents: `UNWRAPPED` (texts outside the brackets of the pseudo language), `CUT_OFF` (texts that do not fit),
`DRAWN_OVER` (words of a drawing that go beyond it or lie over each other).
"""

from __future__ import annotations

__all__ = ["CUT_OFF", "DRAWN_OVER", "UNWRAPPED"]

_WALK = """
  const all = [];
  const walk = (root) => {
    for (const element of root.querySelectorAll("*")) {
      all.push(element);
      if (element.shadowRoot) walk(element.shadowRoot);
    }
  };
  walk(document);
  const shown = (element) => element.checkVisibility({ checkVisibilityCSS: true });
  const silent = new Set(["SCRIPT", "STYLE", "TEMPLATE", "NOSCRIPT", "TITLE"]);
"""

UNWRAPPED = (
    "() => {"
    + _WALK
    + """
  // Numbers with their units, signs and single letters; names of standards, practices, files and of ours.
  const allowed = [
    /\\b(dB|[kM]?Hz|[mµun]?s|[mµu]m|mm\\/s|deg|arcmin|kPa|N|IRE|mV|kB|MB|min|h|UTC|fps)\\b/g,
    /\\b(525|625)(\\/\\d\\d)?( (high|low)-band( (colour|monochrome))?)?/g,
    /\\b(bandbench|PNG|CSV|HTML|TOML|JSON|SCORM|xAPI|cmi5|SHA-256|RF|FM|VU|PAL|NTSC|Esc|Deutsch|English)\\b/g,
    /\\.(toml|json|csv|png|html)\\b/g,
  ];
  const bare = (text) => {
    let rest = text;
    for (let before = null; before !== rest;) {
      before = rest;
      rest = rest.replace(/⟦[^⟦⟧]*⟧/g, " ");
    }
    for (const pattern of allowed) rest = rest.replace(pattern, " ");
    return /\\p{L}{2,}/u.test(rest) ? rest : "";
  };
  const found = new Set();
  const take = (text, where) => {
    if (text && bare(text)) found.add(`${where}: ${text.trim().replace(/\\s+/g, " ")}`);
  };
  for (const element of all) {
    if (silent.has(element.tagName) || element.closest("[data-english]") || !shown(element)) continue;
    const where = `${element.tagName.toLowerCase()}.${element.getAttribute("class") ?? element.id}`;
    const own = [...element.childNodes].filter((node) => node.nodeType === Node.TEXT_NODE);
    take(own.map((node) => node.data).join(""), where);
    for (const name of ["aria-label", "title", "alt", "placeholder", "aria-valuetext", "label"]) {
      take(element.getAttribute(name), `${where}[${name}]`);
    }
  }
  return [...found];
}"""
)

CUT_OFF = (
    "() => {"
    + _WALK
    + """
  const found = new Set();
  const page = document.documentElement;
  if (page.scrollWidth > page.clientWidth) found.add(`page: ${page.scrollWidth} px in ${page.clientWidth}`);
  // Whether an ancestor, through shadow roots, is there to be scrolled or is read only by a screen reader.
  const parent = (element) => element.parentElement ?? element.getRootNode().host ?? null;
  const apart = (element) => {
    for (let one = element; one; one = parent(one)) {
      const style = getComputedStyle(one);
      if (/auto|scroll/.test(style.overflowX) || style.clipPath !== "none" || style.position === "fixed") return true;
    }
    return false;
  };
  for (const element of all) {
    if (silent.has(element.tagName) || !shown(element) || element instanceof SVGElement || apart(element)) continue;
    const own = [...element.childNodes].some((node) => node.nodeType === Node.TEXT_NODE && node.data.trim());
    if (!own || element.tagName === "OPTION") continue;
    const { left, right, width } = element.getBoundingClientRect();
    const where = `${element.tagName.toLowerCase()}.${element.getAttribute("class") ?? element.id}`;
    const said = element.textContent.trim().slice(0, 40);
    if (width > 1 && (right > page.clientWidth + 1 || left < -1)) found.add(`${where} leaves the page: ${said}`);
    const hides = getComputedStyle(element).overflowX !== "visible";
    if (hides && element.scrollWidth > element.clientWidth + 1) found.add(`${where} is cut off: ${said}`);
  }
  return [...found];
}"""
)

DRAWN_OVER = (
    "() => {"
    + _WALK
    + """
  const found = [];
  // Numbers may go out of sight with what they number.
  const isWord = (element) => /\\p{L}{3}/u.test(element.textContent) && shown(element);
  for (const drawing of all) {
    if (drawing.tagName !== "svg" || !shown(drawing)) continue;
    const whole = drawing.getBoundingClientRect();
    const words = [...drawing.querySelectorAll("text")].filter(isWord)
      .map((element) => ({ said: element.textContent.trim(), box: element.getBoundingClientRect() }));
    for (const [place, { said, box }] of words.entries()) {
      const over = Math.max(box.right - whole.right, whole.left - box.left);
      if (over > 2) found.push(`${said} goes ${over.toFixed(0)} px beyond its drawing`);
      for (const other of words.slice(place + 1)) {
        const across = Math.min(box.right, other.box.right) - Math.max(box.left, other.box.left);
        const down = Math.min(box.bottom, other.box.bottom) - Math.max(box.top, other.box.top);
        // Lines of a text stand close: their boxes meet, their letters do not.
        if (across > 3 && down > 0.4 * Math.min(box.height, other.box.height)) {
          found.push(`${said} and ${other.said} lie over each other in a drawing`);
        }
      }
    }
  }
  return found;
}"""
)
