// Returns what the page shows as numbers or texts that are none; browsing.py runs it.
() => {
  const wrong = [];
  const roots = [document];
  for (const root of roots) {
    const walk = document.createTreeWalker(root, NodeFilter.SHOW_ELEMENT | NodeFilter.SHOW_TEXT);
    for (let node = walk.nextNode(); node !== null; node = walk.nextNode()) {
      if (node.shadowRoot) roots.push(node.shadowRoot);
      if (node.nodeType !== Node.TEXT_NODE || node.parentElement?.closest("script, style")) continue;
      if (/\bNaN\b|\bnan\b|Infinity|\bundefined\b|\[object /.test(node.textContent)) wrong.push(node.textContent.slice(0, 200));
    }
    for (const element of root.querySelectorAll("[points], path[d], [style]")) {
      for (const name of ["points", "d", "style"]) {
        const text = element.getAttribute(name) ?? "";
        if (/NaN|Infinity|undefined/.test(text)) wrong.push(`${element.localName} ${name}: ${text.slice(0, 100)}`);
      }
    }
  }
  return wrong;
}
